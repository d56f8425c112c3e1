"""Which score note each played note was: live and over a whole take.

The model
---------
A hidden semi-Markov reading of the player's way through the score, kept as a few *paths* side by
side (a beam). A path is a place (the furthest group of simultaneous notes reached), a clock (the
last known moment and the player's own pace), the notes already used near the place, how much
speaks for each hand being played, and the share of slips lately. Every played note takes each
path on in the cheapest ways: it is a written note (of its pitch, near the place: weighed by its
moment against the clock, with a heavy-tailed density, and by what is left out on the way),
another key struck for a written note, one of two neighbours struck in the other order, part of a
sign or trill, a double strike, or extra. `costs` has every number, in nats, with its meaning.
Strokes of trills and graces do not set the clock while anything else does.

When the best path is surprised, or after a pause, the recent notes are read backwards from every
place that holds the newest pitch, through tables "last group up to here with that pitch", all
candidates at once (`relocate`). The best landings become paths, weighed by a small chance of
jumping that grows with the pause, and by where players land: at the start, a little back, at
bars, where the notation lets them turn. A jump takes over what was known before it: of like
places, hands, pace and slips. Where notes cannot tell two places, the one nearer to the
path is taken, or the one as loud as before by a player who repeats so (`shaping`), and both are
kept until they part. A jump without a pause must prove itself for longer.

A whole take (`align`) is the same way through, read back from its end, so that everything known
later decides; then going-throughs followed in a like place are moved (`hindsight`), and within
each going-through the strokes of every key are laid against its notes as two sequences at their
due moments (`refine`, `timemap`). Stretches that answer to nothing are called unclear (`doubt`).
`find_passes` cuts a take into passes.

Sources, and what differs
-------------------------
Nakamura, Nakamura, Saito, Ono and Sagayama, "Outer-product hidden Markov model and polyphonic
MIDI score following" (JNMR 2014), and "Real-time audio-to-score alignment ... with arbitrary
repeats and skips" (2016): states over score events, step, stay, skip and a small probability of
jumping anywhere. Nakamura, Cuvillier, Cont, Ono and Sagayama, "Autoregressive hidden semi-Markov
model ..." (ISMIR 2015): the player's pace as hidden state. Nakamura, Yoshii and Katayose,
"Performance error detection and post-processing ..." (ISMIR 2017): repairing a first alignment,
hands apart. Here (1) the distribution over states is a beam with an index by pitch instead of all
states: cost does not grow with what was played, and hardly with the score; which way this moves
accuracy depends on the beam's width. (2) Each path remembers which notes it used, so that
omissions, double strikes and late notes are told apart note by note on the way. (3) Jumps have a
place prior of practising and depend on the pause. (4) The second pass aligns key by key
(Needleman and Wunsch 1970) against a leave-one-out time map instead of re-running the model.
Costs are round numbers from what is known of players, not fitted.

Limits: places alike in every note cannot be told apart while they are; a repeat left out may be
labelled with another time through when both readings are equally short; a live finding stands
after three notes or half a second, so the first notes after a jump may stay wrong. What it comes
to, and what nobody can know yet, stands in `README.md` beside this file.
"""

from engine.follow.align import align
from engine.follow.follower import Follower, Place
from engine.follow.passes import find_passes

__all__ = ["Follower", "Place", "align", "find_passes"]
