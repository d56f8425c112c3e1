"""Repeats, endings and jumps agree with music21's expansion (music21 9 and 10, repeat.Expander).

`REASONS` lists the scores on which music21 differs or gives up, and why; every score with a hand-
worked order is in one list or the other.
"""

from __future__ import annotations

import pytest

from tests.read.conftest import SCORES
from tests.read.playing_orders import ORDERS

AGREED = (
    "repeat-times", "endings", "endings-list", "da-capo-al-fine", "da-capo-in-words",
    "dal-segno-al-coda", "dal-segno-in-signs", "split-bar",
)  # fmt: skip

REASONS = {
    "repeat-without-start": "MusicXML: a repeat without a beginning goes back to just after the "
    "repeat before it; music21 goes back to the first bar",
    "ending-alone": "music21 does not repeat where there is a first ending and no second",
    "da-capo-endings": "music21 plays first and second ending one after the other",
    "dal-segno-names": "music21 does not read the names that pair D.S. with its segno",
    "dal-segno-without-segno": "music21 refuses a D.S. without a segno",
    "barline-signs": "music21 does not read segno and coda inside a barline",
    "time-only": "music21 does not read time-only",
    "after-jump": "music21 does not read after-jump",
    "forward-repeat-sound": "music21 does not read a repeat's beginning from a sound",
    "tocoda-before-bar": "music21 does not read jumps from sounds",
    "mid-bar-repeat": "music21 refuses a repeat sign inside a bar",
}


def test_every_order_is_compared_or_explained():
    assert set(AGREED) | set(REASONS) == set(ORDERS)
    assert not set(AGREED) & set(REASONS)


def as_music21_plays(path):
    """Letters of the notes in the order of playing; None where music21 cannot expand the score."""
    import music21

    part = music21.converter.parse(path).parts[0]
    expander = music21.repeat.Expander(part)
    if not expander.isExpandable():
        return None
    return " ".join(note.pitch.step for note in expander.process().flatten().notes)


@pytest.mark.parametrize("name", AGREED)
def test_the_order_is_as_music21_plays_it(name):
    assert as_music21_plays(SCORES / f"{name}.musicxml") == ORDERS[name]


@pytest.mark.parametrize("name", REASONS)
def test_the_listed_differences_are_still_there(name):
    """When one of these fails, music21 has learnt it: move the score to `AGREED`."""
    assert as_music21_plays(SCORES / f"{name}.musicxml") != ORDERS[name]
