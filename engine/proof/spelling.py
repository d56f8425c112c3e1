"""Names that disagree: with the harmony, or with how the page spells the same key elsewhere."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from engine.arrangement import Arrangement, Harmony, ScoreNote
from engine.form.fifths import place_of, spell
from engine.form.function import chord_places, harmony_at
from engine.form.naming import PageNames
from engine.pitch_names import SIGNS, printed
from engine.proof.pedals import printed_symbol
from engine.proof.remark import Remark, first_time, remark_on

#: A name is held against the page only where the page names that key so often otherwise.
OFTEN = 3
#: A habit needs a chord that lasts so long; over a drone it outweighs where the voice goes.
LONG_Q = 8
DRONE_Q = 16
#: How certain a harmony must be to be held against a name; a drone that bears a habit less so.
SURE, DRONE_SURE = 0.8, 0.6


@dataclass(frozen=True)
class _Named:
    """One note with its harmony."""

    index: int
    note: ScoreNote
    harmony: Harmony

    @property
    def place(self) -> int:
        return place_of(self.note.step, self.note.alter)


def spelling_remarks(arrangement: Arrangement) -> Iterator[Remark]:
    """Notes that a chord, or the page's own habit over that chord, would spell otherwise.

    Pages whose names were made up (MIDI files) have nothing to disagree with.
    """
    if not arrangement.spelled:
        return
    named = [n for i in first_time(arrangement) if (n := _named(arrangement, i)) is not None]
    habits: dict[tuple[str, str, int], Counter[int]] = defaultdict(Counter)
    for key, place, _ in sorted({(_habit(n), n.place, n.note.onset_q) for n in named}):
        habits[key][place] += 1
    names = PageNames(arrangement)
    for one in named:
        usual = _usual(habits[_habit(one)], one.place) if _steady(one.harmony) else None
        chord = _chord_name(one)
        agreed = chord if chord is not None else usual
        if agreed is None:
            continue
        settled = chord is None and usual is not None and _drone(one.harmony)
        if not settled and _goes_its_way(arrangement, one, agreed):
            continue
        if chord is not None and one.harmony.certainty < SURE and usual is None:
            continue
        alike = _struck_alike(arrangement, one)
        if names.place(one.index, alike) != agreed:
            continue
        octaves = [arrangement.notes[i] for i in sorted(alike)]
        if one.index == min(alike):  # one remark for a note and its octave copies
            yield _remark(arrangement, one, agreed, chord is not None, octaves)


def _long(harmony: Harmony, least_q: int = LONG_Q) -> bool:
    return harmony.to_q - harmony.from_q >= least_q


def _drone(harmony: Harmony) -> bool:
    return _long(harmony, DRONE_Q) and harmony.certainty >= DRONE_SURE


def _steady(harmony: Harmony) -> bool:
    """A harmony that lasts and is no passing one: over it a page's habit means something."""
    plain = harmony.quality.startswith(("major", "minor", "dominant"))
    return plain and _long(harmony)


def _struck_alike(arrangement: Arrangement, one: _Named) -> frozenset[int]:
    """The note and its octave copies of the same name: written together, they share an error."""
    return frozenset(
        i
        for i in range(max(0, one.index - 12), min(len(arrangement.notes), one.index + 13))
        if arrangement.notes[i].onset_q == one.note.onset_q
        and (arrangement.notes[i].step, arrangement.notes[i].alter)
        == (one.note.step, one.note.alter)
    )


def _named(arrangement: Arrangement, i: int) -> _Named | None:
    note = arrangement.notes[i]
    k = harmony_at(arrangement.form.harmonies, note.onset_q)
    return _Named(i, note, arrangement.form.harmonies[k]) if k >= 0 else None


def _habit(one: _Named) -> tuple[str, str, int]:
    return one.harmony.root, one.harmony.quality, one.note.pitch % 12


def _usual(names: Counter[int], mine: int) -> int | None:
    """The page's other name for the key over this chord, if it is the habit and mine is alone."""
    place, count = names.most_common(1)[0]
    return place if place != mine and count >= OFTEN and names[mine] == 1 else None


def _chord_name(one: _Named) -> int | None:
    """How the chord spells the key, where the page does not."""
    if one.harmony.quality in ("diminished", "diminished seventh", "augmented"):
        return None  # named by where they go, not by their root
    for place in chord_places(one.harmony):
        if 7 * place % 12 == one.note.pitch % 12:
            return None if place == one.place else place
    return None


def _goes_its_way(arrangement: Arrangement, one: _Named, agreed: int) -> bool:
    """Whether the voice explains the name: a semitone step that the name spells as a step.

    C sharp that goes to D, or D flat that goes to C, is written for where it goes.
    """
    for i in _steps_around(arrangement, one):
        other = arrangement.notes[i]
        to = place_of(other.step, other.alter)
        if abs(to - one.place) == 5 and abs(to - agreed) == 7:
            return True
    return False


def _steps_around(arrangement: Arrangement, one: _Named) -> Iterator[int]:
    """Notes of the hand a semitone away (in any octave), shortly before and after."""
    note = one.note
    for way in (1, -1):
        i, seen = one.index + way, 0
        while 0 <= i < len(arrangement.notes) and seen < 8:
            other = arrangement.notes[i]
            if other.hand == note.hand and other.onset_q != note.onset_q:
                seen += 1
                if (other.pitch - note.pitch) % 12 in (1, 11):
                    yield i
            i += way


def _remark(
    arrangement: Arrangement, one: _Named, agreed: int, by_chord: bool, notes: list[ScoreNote]
) -> Remark:
    note = one.note
    step, alter, octave = spell(note.pitch, agreed)
    name = f"{step}{SIGNS[alter]}{octave}"
    symbol = printed_symbol(one.harmony.symbol)
    if by_chord:
        why = f"{printed(note.name)} in {symbol}, which would have {printed(name)}"
    else:
        why = f"{printed(note.name)} over {symbol}, where the page has {printed(name)} otherwise"
    return remark_on(arrangement, "spelling", notes, why, 0.6 if by_chord else 0.7, name)
