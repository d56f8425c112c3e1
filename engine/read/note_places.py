"""Notes named by where they stand, for files without ids of their own.

There ids count the notes, and one note more changes all that follow. A place is bar, beat and name,
with four hex digits each of what the bar before, the bar itself and the bar after hold:
`14:3/2 Eb5 ~1f0a.90bc.77e2`. So it is found again where bars were put in or taken out before it, or
where its own bar was changed: the bars around tell which bar it was, the number only the nearest.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from hashlib import blake2b

from engine.arrangement import Arrangement, Bar, ScoreNote

_NOTE_PLACE = re.compile(
    r"([^@:\s]+):([0-9]{1,4}(?:[.][0-9]{1,6}|/[1-9][0-9]{0,3})?) "
    r"([A-G](?:b{0,3}|#{0,3})-?[0-9]{1,2})(?: ~([0-9a-f]{4})[.]([0-9a-f]{4})[.]([0-9a-f]{4}))?"
)
#: Stands for the bar before the first and after the last.
EDGE = "0000"


@dataclass(frozen=True, slots=True)
class NotePlace:
    """A printed bar number, a beat and a name; what the three bars held, None if not said."""

    bar: str
    beat: Fraction
    name: str
    held: tuple[str, str, str] | None = None


def is_place(key: str) -> bool:
    """Whether a note is named by its place ("5:3/2 Eb4") and not by its id."""
    return _NOTE_PLACE.fullmatch(key) is not None


def read_place(key: str) -> NotePlace | None:
    """A place from its text; None where it is none."""
    found = _NOTE_PLACE.fullmatch(key)
    if found is None:
        return None
    bar, beat, name, *held = found.groups()
    said = (held[0], held[1], held[2]) if held[0] else None
    return NotePlace(bar, Fraction(beat), name, said)


def place_text(arrangement: Arrangement, note: ScoreNote) -> str:
    """A note by its place and name: "14:3/2 Eb5 ~1f0a.90bc.77e2"; "" where its bar has no number.

    It is not for many notes of one page: `PagePlaces` looks a page through once.
    """
    return PagePlaces(arrangement).text(note)


@dataclass(frozen=True)
class PagePlaces:
    """A page looked through for places."""

    arrangement: Arrangement

    @cached_property
    def _written(self) -> list[Bar]:
        """Each written bar as first played, in the page's order."""
        first = {bar.written: bar for bar in reversed(self.arrangement.bars)}
        return [first[k] for k in sorted(first)]

    @cached_property
    def _held(self) -> list[str]:
        """Four hex digits of what each written bar holds: every note but its id and finger."""
        rows: dict[int, list[tuple[Fraction, int, str]]] = {b.index: [] for b in self._written}
        for note in self.arrangement.notes:
            if note.bar in rows:
                beat = self.arrangement.bars[note.bar].beat_at(note.onset_q)
                rows[note.bar].append((beat, note.pitch, f"{beat} {note.name} {note.duration_q}"))
        texts = (
            f"{b.duration_q};" + ";".join(row[2] for row in sorted(rows[b.index]))
            for b in self._written
        )
        return [blake2b(text.encode(), digest_size=2).hexdigest() for text in texts]

    @cached_property
    def _names(self) -> dict[tuple[int, Fraction, str], str]:
        """Note ids by written bar, beat and name."""
        bars = self.arrangement.bars
        return {
            (bars[n.bar].written, bars[n.bar].beat_at(n.onset_q), n.name): n.note_id
            for n in reversed(self.arrangement.notes)
        }

    def _around(self, k: int) -> tuple[str, str, str]:
        held = [EDGE, *self._held, EDGE]
        return held[k], held[k + 1], held[k + 2]

    def text(self, note: ScoreNote) -> str:
        """The place of a note of this page."""
        bar = self.arrangement.bars[note.bar]
        if not bar.number:
            return ""
        k = [b.written for b in self._written].index(bar.written)
        return f"{bar.number}:{bar.beat_at(note.onset_q)} {note.name} ~{'.'.join(self._around(k))}"

    def find(self, place: NotePlace) -> str | None:
        """The id of the note at a place; None where the page has no such bar or note."""
        numbers = [b.number for b in self._written]
        if place.held is None:
            rows = [k for k, number in enumerate(numbers) if number == place.bar]
        else:
            rows = self._nearest(place.held, numbers, place.bar)
        for k in rows:
            found = self._names.get((self._written[k].written, place.beat, place.name))
            if found is not None:
                return found
        return None

    def _nearest(self, held: tuple[str, str, str], numbers: list[str], number: str) -> list[int]:
        """Bars that may be the one meant, the likeliest first.

        The bar itself counts most, then its neighbours; one neighbour alone says too little.
        """
        home = numbers.index(number) if number in numbers else len(numbers)
        ranked = []
        for k in range(len(numbers)):
            before, here, after = (a == b for a, b in zip(held, self._around(k), strict=True))
            alike = 2 * here + before + after
            if alike >= 2 or k == home:
                ranked.append((-alike, abs(k - home), k))
        return [k for *_, k in sorted(ranked)]


def find_places(arrangement: Arrangement, keys: Iterable[str]) -> Mapping[str, str | None]:
    """The note id that each place names, None for a note that is not there; ids are passed over."""
    places = {key: place for key in keys if (place := read_place(key)) is not None}
    if not places:
        return {}
    page = PagePlaces(arrangement)
    return {key: page.find(place) for key, place in places.items()}
