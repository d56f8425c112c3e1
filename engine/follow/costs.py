"""What each thing a player can do costs, in nats. One table, so that no number hides in code.

A cost is minus the logarithm of a rough probability. The values are round numbers chosen from what
is known of players (a slip in a few notes out of a hundred, a jump in a few out of a thousand
unless there is a pause), not fitted to recordings.
"""

from __future__ import annotations

import math

#: A written note left out, and each further one with it.
MISS, MISS_MORE = 3.5, 2.5
#: All that is left out at once costs no more than this (a leap ahead).
SKIP_AT_MOST = 8.5
#: Playing one hand alone, said at a landing.
ONE_HAND = 2.3
#: Share of that which is made good when the note comes after all, behind the front.
MADE_GOOD = 0.6
#: A played note that answers to nothing, at most and at least; between, minus the logarithm of
#: the share of such notes lately (which follows at this gain) and a share for which key it is.
EXTRA, EXTRA_AT_LEAST, EXTRA_SHARE, SLIPS_GAIN = 5.5, 4.4, 1.6, 0.02
#: That much more right after a long pause, when players begin with what is written.
EXTRA_AFTER_PAUSE = 3.0
#: The same key again at once (within so many seconds): a double strike.
DOUBLE_STRIKE, DOUBLE_S = 4.0, 0.15
#: Two neighbours of a hand struck in the other order; the same once more within so many notes.
SWAP, SWAP_AGAIN, SWAP_LATELY = 4.0, 2.0, 32
#: A note of a sign or trill, beyond the written note.
ORNAMENT = 1.2
#: A note while nobody knows where the player is.
LOST = 4.2
#: A note is as loud as the last time when within so many MIDI steps; the share of such notes at
#: least (a pianist's), what is guessed before any, as if from so many; and how many notes after a
#: landing are weighed by their loudness.
SAME_WITHIN, SAME_AT_LEAST, SAME_GUESS, SAME_PRIOR, SHAPING_NOTES = 1, 0.25, 0.3, 4.0, 24
#: After a jump without a pause each of these notes costs so much more: it must prove itself longer.
HASTY = 0.4
#: Losing the place.
GET_LOST = 9.0
#: Another key for a written note, by distance in semitones.
WRONG = {1: 4.2, 2: 4.4, 12: 5.0, 3: 5.4, 4: 5.4}
#: No moment is so early or so late that it costs more than this; a hesitation costs less.
TIMING_AT_MOST, HESITATION = 9.0, 4.0
#: Spread of an onset, seconds: within a chord and between the hands; share of a quarter (at most a
#: second); share of the way since the last known moment (free pulse), which counts up to so many
#: seconds; the same while the tempo is not known; of notes whose moment is free (graces, rolls).
SPREAD_S, SPREAD_BEAT, SPREAD_WAY, FAR_S = 0.03, 0.03, 0.12, 2.5
SPREAD_UNKNOWN, SPREAD_LOOSE_S = 0.4, 0.08
#: Notes whose moment is free say nothing of the time, unless nothing else has for so many seconds
#: that the way since is the vaguer.
LOOSE_AT_MOST_S = SPREAD_LOOSE_S / SPREAD_WAY
#: An interval twice as long as due, and longer by this, says nothing of the tempo.
HALT_S = 0.3
#: A jump out of the middle of playing, and after a long pause (which costs what it costs anyone).
JUMP, JUMP_AFTER_PAUSE = -math.log(3e-6), HESITATION - math.log(0.25)
#: A pause begins when a note is late by this many seconds and this many beats; it is long at
#: `LONG` times that.
PAUSE_S, PAUSE_Q, LONG = 0.6, 0.6, 2.0
#: Strokes so near one another begin together, after the same pause.
TOGETHER_S = 0.05
#: Where jumps land: at the start of the span (after its end, or else), near behind, near ahead, at
#: the start of any bar, anywhere, and where the player began before. Of near landings this share is
#: at the starts of bars.
TO_START_AFTER_END, TO_START, TO_AGAIN = 0.5, 0.1, 0.2
TO_BACK, TO_AHEAD, TO_BAR, TO_ANY = 0.45, 0.2, 0.13, 0.12
NEAR_BAR = 0.5
#: Nearer than this nobody jumps without a pause, quarters.
TOO_NEAR_Q = 0.4
#: A repeat or jump of the notation not taken as unfolded: further on, and back.
TURN, TURN_BACK = 3.0, 5.0
#: How near is near, behind and ahead, quarters.
NEAR_BEHIND_Q, NEAR_AHEAD_Q = 12.0, 4.0
#: How far behind the front a note may come, and how far ahead it is looked for, quarters.
BACK_Q, AHEAD_Q = 1.0, 2.0
#: A note from before the place where the player landed, and how far before at most, quarters.
BEFORE_LANDING, BEFORE_Q = 3.0, 0.5
#: A way on that costs more than this is doubtful: then all others are looked at.
DOUBTFUL = 1.2
#: A way on is kept beside the best one when it costs no more than this in addition; a right note
#: when it costs so much more yet.
DOUBT, DOUBT_RIGHT = 4.5, 2.5


def jump_at(pause: float) -> float:
    """What a jump costs after a pause of some length (0 none, 1 long)."""
    return JUMP + (JUMP_AFTER_PAUSE - JUMP) * pause
