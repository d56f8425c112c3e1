"""Exact spelling arithmetic on the line of fifths.

Every pitch name has one place on the line: F -1, C 0, G 1, D 2, A 3, E 4, B 5, seven more for
each sharp, seven fewer for each flat (Cambouropoulos, Temperley and others use the same line).
Seven times the place, modulo 12, is the pitch class; the difference of two places is the
interval, spelled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.pitch_names import LETTER_SEMITONES, SIGNS

LETTERS = "FCGDAEB"
SCALE = "CDEFGAB"
#: Places of the names with at most this many flats or sharps.
MAX_ALTER = 3

#: Modes as places on the line, relative to the tonic.
MODES: dict[str, tuple[int, ...]] = {
    "lydian": (0, 1, 2, 3, 4, 5, 6),
    "major": (-1, 0, 1, 2, 3, 4, 5),
    "mixolydian": (-2, -1, 0, 1, 2, 3, 4),
    "dorian": (-3, -2, -1, 0, 1, 2, 3),
    "minor": (-4, -3, -2, -1, 0, 1, 2),
    "phrygian": (-5, -4, -3, -2, -1, 0, 1),
    "locrian": (-6, -5, -4, -3, -2, -1, 0),
    "harmonic minor": (-4, -3, -1, 0, 1, 2, 5),
    "melodic minor": (-3, -1, 0, 1, 2, 3, 5),
}

_NUMBERS = {
    1: "unison",
    2: "second",
    3: "third",
    4: "fourth",
    5: "fifth",
    6: "sixth",
    7: "seventh",
    8: "octave",
}
#: What a player says of a note so far above the root, by its place relative to the root's.
_DEGREES: dict[int, str] = {
    -10: "diminished third",
    -9: "diminished seventh",
    -8: "flat fourth",
    -7: "flat octave",
    -6: "flat fifth",
    -5: "flat ninth",
    -4: "minor sixth",
    -3: "minor third",
    -2: "minor seventh",
    -1: "eleventh",
    0: "root",
    1: "fifth",
    2: "ninth",
    3: "sixth",
    4: "major third",
    5: "major seventh",
    6: "sharp eleventh",
    7: "sharp root",
    8: "sharp fifth",
    9: "sharp ninth",
    10: "sharp sixth",
}


def place_of(step: str, alter: int) -> int:
    """The place of a name on the line of fifths (C is 0, G 1, F -1, Bbb -9)."""
    return LETTERS.index(step) - 1 + 7 * alter


def name_at(place: int) -> tuple[str, int]:
    """Letter and alteration of a place on the line."""
    return LETTERS[(place + 1) % 7], (place + 1) // 7


def text_at(place: int) -> str:
    """The name of a place as text: "Bbb"."""
    step, alter = name_at(place)
    return step + SIGNS.get(alter, ("b" if alter < 0 else "#") * abs(alter))


def place_from_text(name: str) -> int:
    """The inverse of `text_at`; an octave number at the end is passed over."""
    sign = name[1:].rstrip("-0123456789")
    return place_of(name[0], sign.count("#") - sign.count("b"))


def pitch_class_at(place: int) -> int:
    """Pitch class (C is 0) of a place."""
    return 7 * place % 12


def spell(pitch: int, place: int) -> tuple[str, int, int]:
    """Letter, alteration and octave of a key spelled as the name at `place`.

    The octave follows the letter: key 59 as Cb is Cb4, key 60 as B# is B#3.

    Raises:
        ValueError: the name does not sound that key.
    """
    if pitch_class_at(place) != pitch % 12:
        raise ValueError(f"{text_at(place)} does not sound key {pitch}")
    step, alter = name_at(place)
    return step, alter, (pitch - alter - LETTER_SEMITONES[step]) // 12 - 1


def places_for(pitch: int, max_alter: int = MAX_ALTER) -> list[int]:
    """All places that sound a key with at most `max_alter` signs, ascending."""
    low, high = place_of("F", -max_alter), place_of("B", max_alter)
    first = 7 * pitch % 12  # 7 is its own inverse modulo 12
    start = low + (first - low) % 12
    return list(range(start, high + 1, 12))


@dataclass(frozen=True, slots=True)
class Interval:
    """A spelled interval, upwards unless `down`.

    Attributes:
        number: 1 unison, 2 second, ... 8 octave, 9 ninth and so on.
        semitones: its size, not negative unless the spelling crosses (a diminished unison).
        place: its step on the line of fifths, reckoned upwards.
        down: the second note is the lower on the page.
    """

    number: int
    semitones: int
    place: int
    down: bool = False

    @property
    def quality(self) -> str:
        """P, M, m, A, d, AA, dd ... as commonly abbreviated."""
        if -1 <= self.place <= 1:
            return "P"
        if 2 <= self.place <= 5:
            return "M"
        if -5 <= self.place <= -2:
            return "m"
        if self.place > 5:
            return "A" * ((self.place - 6) // 7 + 1)
        return "d" * ((-self.place - 6) // 7 + 1)

    @property
    def name(self) -> str:
        """As in "d5", "M3", "P8"."""
        return f"{self.quality}{self.number}"

    @property
    def words(self) -> str:
        """As spoken: "diminished fifth", "minor tenth" is said "minor third"."""
        plain = {"P": "perfect", "M": "major", "m": "minor", "A": "augmented", "d": "diminished"}
        twice = {"AA": "doubly augmented", "dd": "doubly diminished"}
        quality = plain.get(self.quality) or twice.get(self.quality, self.quality)
        number = self.number if self.number <= 8 else (self.number - 2) % 7 + 2
        return f"{quality} {_NUMBERS[number]}"


def _diatonic(step: str, octave: int) -> int:
    return 7 * octave + SCALE.index(step)


def interval_between(low: tuple[str, int, int], high: tuple[str, int, int]) -> Interval:
    """The interval from one spelled pitch (letter, alter, octave) to another."""
    steps = _diatonic(high[0], high[2]) - _diatonic(low[0], low[2])
    sounding = _key(high) - _key(low)
    place = place_of(high[0], high[1]) - place_of(low[0], low[1])
    if steps < 0 or (steps == 0 and sounding < 0):
        return Interval(1 - steps, -sounding, -place, down=True)
    return Interval(steps + 1, sounding, place)


def _key(pitch: tuple[str, int, int]) -> int:
    step, alter, octave = pitch
    return 12 * (octave + 1) + LETTER_SEMITONES[step] + alter


def transpose(pitch: tuple[str, int, int], interval: Interval) -> tuple[str, int, int]:
    """A spelled pitch moved by a spelled interval."""
    sign = -1 if interval.down else 1
    place = place_of(pitch[0], pitch[1]) + sign * interval.place
    steps = _diatonic(pitch[0], pitch[2]) + sign * (interval.number - 1)
    step, alter = name_at(place)
    return step, alter, steps // 7


def degree_words(place: int) -> str:
    """What a note is called above a root, by its place relative to the root: -6 is "flat fifth"."""
    return _DEGREES.get(place, Interval(_number(place), 0, place).words)


def _number(place: int) -> int:
    """Interval number within the octave of a step on the line (1 is 5, -1 is 4)."""
    return 4 * place % 7 + 1


def mode_of(places: Sequence[int], tonic: int) -> tuple[str, ...]:
    """The modes (names in `MODES`) on `tonic` that hold all the given places, brightest first."""
    relative = {p - tonic for p in places}
    return tuple(name for name, scale in MODES.items() if relative <= set(scale))
