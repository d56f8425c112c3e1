"""What each thing a player can do costs, in nats. One table, so that no number hides in code.

A cost is minus the logarithm of a rough probability. The values are round numbers chosen from what
is known of players (a slip in a few notes out of a hundred, a jump in a few out of a thousand
unless there is a pause), not fitted to recordings.
"""

from __future__ import annotations

import math

#: A written note left out.
MISS = 3.5
#: A played note that answers to nothing.
EXTRA = 5.5
#: The same key again at once: a double strike.
DOUBLE_STRIKE = 4.0
#: A note of a sign or trill, beyond the written note.
ORNAMENT = 1.2
#: A note while nobody knows where the player is.
LOST = 3.2
#: Losing the place.
GET_LOST = 9.0
#: Another key for a written note, by distance in semitones.
WRONG = {1: 4.2, 2: 4.4, 12: 5.0, 3: 5.4, 4: 5.4}
#: A cue-size note is played or not.
OPTIONAL = 0.7
#: No moment is so early or so late that it costs more than this.
TIMING_AT_MOST = 5.0
#: Onset spread within a chord and between the hands, seconds.
SPREAD_S = 0.04
#: Spread of a free pulse: share of a beat, and share of the way since the last known moment.
SPREAD_BEAT, SPREAD_WAY = 0.06, 0.12
#: A jump, without and with a pause before it.
JUMP, JUMP_AFTER_PAUSE = -math.log(0.002), -math.log(0.1)
#: What a pause is: later than expected by this many seconds, and by this many beats.
PAUSE_S, PAUSE_Q = 0.6, 1.0
#: How far behind the front a note may come, and how far ahead it is looked for, quarters.
BACK_Q, AHEAD_Q = 1.0, 2.0
