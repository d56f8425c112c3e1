"""A simulated pianist: plays an arrangement as a person with given faults would, and knows why.

It knows the notes, the times and the written pedals, and nothing of form, following or measuring,
so that what it plays may test them. The random source is passed in: the same seed, the same
performance.
"""

from practice.player.character import CHARACTERS, Character, Pedalling, SlipShares
from practice.player.perform import Performance, Truth, perform, perform_with_truth

__all__ = [
    "CHARACTERS",
    "Character",
    "Pedalling",
    "Performance",
    "SlipShares",
    "Truth",
    "perform",
    "perform_with_truth",
]
