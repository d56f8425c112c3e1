"""What the player adds to a score in a file beside it: `piece.musicxml.undersong.toml` or
`piece.undersong.toml` for `piece.musicxml`.

    # Bar 5, beat 1, to the end of bar 6: the left hand takes the notes of the upper staff.
    [[hands]]
    hand = "left"
    from = "5:1"
    to = "6"
    staff = 1

    [[hands]]
    hand = "right"
    notes = ["n17", "n18"]

    # A note by its id, or by bar, beat and name: that stays where the file has no ids of its own.
    # The window adds what the bars there hold ("5:3/2 Eb4 ~1f0a.90bc.77e2", `note_places.py`), so
    # that the note is found again where bars were put in before it.
    [fingering]
    n17 = "3"
    "5:3/2 Eb4" = "1-2"

    [[sections]]
    name = "Return"
    letter = "A"
    from = "9@2"
    to = "16@2"

    [[phrases]]
    from = "1"
    to = "4:3"

    [[figures]]
    hand = "left"
    beats = 2
    from = "1"
    to = "8"

A place is a printed bar number, the time through after "@" (all times if left out), the beat after
":". `to` is included: a whole bar, a whole beat.
"""

from __future__ import annotations

import errno
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any, cast

from engine.arrangement import Hand
from engine.errors import ScoreError
from engine.read.quantity import read_decimal

#: Bytes that a sidecar may have, which hold a fingering for every note of the largest page; rules
#: of each kind, and of figures, each of which is sought in the whole page.
MAX_SIDECAR_BYTES = 256 * 1024
MAX_RULES, MAX_FIGURE_RULES = 300, 40
_PLACE = re.compile(r"([^@:\s]*)(?:@(\d{1,4}))?(?::(\d{1,3}(?:[.]\d{1,6}|/\d{1,3})?))?")
_BEAT_FRACTION = re.compile(r"(\d+)/(\d+)")


@dataclass(frozen=True, slots=True)
class Place:
    """A printed bar number, which time through (None: every), which beat (None: not said)."""

    bar: str
    time: int | None = None
    beat: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Stretch:
    """From one place to another, both included."""

    first: Place
    last: Place


@dataclass(frozen=True, slots=True)
class HandRule:
    """Notes that a hand takes: those of `notes`, or those of a stretch, staff and voice."""

    hand: Hand
    notes: frozenset[str] = frozenset()
    stretch: Stretch | None = None
    staff: int | None = None
    voice: str | None = None


@dataclass(frozen=True, slots=True)
class SectionRule:
    """A section as the player names it; `letter` "" if not said."""

    name: str
    stretch: Stretch
    letter: str = ""


@dataclass(frozen=True, slots=True)
class FigureRule:
    """A stretch where a hand has a figure; length of its cell in quarters is beats x beat unit."""

    hand: Hand
    stretch: Stretch
    beats: Fraction


@dataclass(frozen=True, slots=True)
class Sidecar:
    """Everything a sidecar file says. An empty one says nothing."""

    hands: tuple[HandRule, ...] = ()
    fingering: Mapping[str, str] = field(default_factory=dict)
    sections: tuple[SectionRule, ...] = ()
    phrases: tuple[Stretch, ...] = ()
    figures: tuple[FigureRule, ...] = ()


def sidecar_path(score_path: str | Path) -> Path:
    """Where a score's sidecar lies: under the whole name if there is one there, else the stem.

    `piece.musicxml.undersong.toml` speaks for that file alone, `piece.undersong.toml` for the piece
    in whatever format it lies beside.
    """
    score = Path(score_path)
    whole = score.with_name(f"{score.name}.undersong.toml")
    return whole if _is_there(whole) else score.with_suffix(".undersong.toml")


def _is_there(path: Path) -> bool:
    """Whether there is such a file; a name too long for a file is none."""
    try:
        return path.is_file()
    except OSError as error:
        if error.errno == errno.ENAMETOOLONG:
            return False
        raise ScoreError(str(path), "", f"it cannot be opened ({error.strerror})") from error


def sidecar_bytes(score_path: str | Path) -> bytes:
    """The bytes of a score's sidecar, b"" if it has none.

    Raises:
        ScoreError: it is there but cannot be opened or is too large.
    """
    path = sidecar_path(score_path)
    try:
        if not _is_there(path):
            return b""
        with path.open("rb") as file:
            data = file.read(MAX_SIDECAR_BYTES + 1)
    except OSError as error:
        raise ScoreError(str(path), "", f"it cannot be opened ({error.strerror})") from error
    if len(data) > MAX_SIDECAR_BYTES:
        raise ScoreError(str(path), "", "it is larger than 1 MB", "keep it to what is needed")
    return data


def read_sidecar(data: bytes, path: str) -> Sidecar:
    """Read a sidecar; `path` stands in messages.

    Raises:
        ScoreError: it is not TOML, or says something that is not understood.
    """
    try:
        table = tomllib.loads(data.decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise ScoreError(path, "", f"it is not proper TOML: {error}", "correct it") from error
    return _Reader(path).read(table)


class _Reader:
    """Turns a TOML table into a `Sidecar`; every complaint names the file."""

    def __init__(self, path: str) -> None:
        self.path = path

    def read(self, table: dict[str, Any]) -> Sidecar:
        self._only(table, "the file", {"hands", "fingering", "sections", "phrases", "figures"})
        return Sidecar(
            tuple(self._hand_rule(entry) for entry in self._tables(table, "hands")),
            self._fingering(table.get("fingering", {})),
            tuple(self._section(entry) for entry in self._tables(table, "sections")),
            tuple(self._phrase(entry) for entry in self._tables(table, "phrases")),
            tuple(self._figure(entry) for entry in self._tables(table, "figures")),
        )

    def _complaint(self, what: str) -> ScoreError:
        return ScoreError(self.path, "", what, "correct it or take it out")

    def _only(self, table: dict[str, Any], where: str, known: set[str]) -> None:
        strange = sorted(set(table) - known)
        if strange:
            raise self._complaint(
                f"{where} has no {strange[0]!r}; it knows {', '.join(sorted(known))}"
            )

    def _tables(self, table: dict[str, Any], key: str) -> list[dict[str, Any]]:
        entries = table.get(key, [])
        if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
            raise self._complaint(f"{key} must be written as [[{key}]] tables")
        most = MAX_FIGURE_RULES if key == "figures" else MAX_RULES
        if len(entries) > most:
            raise self._complaint(f"there are more than {most} [[{key}]]")
        return entries

    def _hand(self, entry: dict[str, Any], where: str) -> Hand:
        hand = entry.get("hand")
        if hand not in ("left", "right"):
            raise self._complaint(f'{where} needs hand = "left" or "right"')
        return cast(Hand, hand)

    def _hand_rule(self, entry: dict[str, Any]) -> HandRule:
        self._only(entry, "[[hands]]", {"hand", "notes", "from", "to", "staff", "voice"})
        hand = self._hand(entry, "[[hands]]")
        notes = entry.get("notes", [])
        if not isinstance(notes, list) or not all(isinstance(n, str) for n in notes):
            raise self._complaint("notes must be a list of note ids in quotes")
        staff, voice = entry.get("staff"), entry.get("voice")
        if not isinstance(staff, int | None) or not isinstance(voice, str | None):
            raise self._complaint("staff must be a number and voice a text in [[hands]]")
        stretch = self._stretch(entry, "[[hands]]") if "from" in entry or "to" in entry else None
        if bool(notes) == (stretch is not None):
            raise self._complaint("[[hands]] needs either notes, or from and to")
        return HandRule(hand, frozenset(notes), stretch, staff, voice)

    def _fingering(self, table: object) -> dict[str, str]:
        if not isinstance(table, dict):
            raise self._complaint("[fingering] must be a table of note ids")
        for note_id, fingers in table.items():
            if not isinstance(fingers, str) or not re.fullmatch(r"[1-5](-[1-5])*|", fingers):
                raise self._complaint(f'fingering of {note_id} must be like "3" or "1-2"')
        return dict(table)

    def _section(self, entry: dict[str, Any]) -> SectionRule:
        self._only(entry, "[[sections]]", {"name", "letter", "from", "to"})
        name, letter = entry.get("name", ""), entry.get("letter", "")
        if not isinstance(name, str) or not isinstance(letter, str) or not (name or letter):
            raise self._complaint("[[sections]] needs a name or a letter, in quotes")
        return SectionRule(name or letter, self._stretch(entry, "[[sections]]"), letter)

    def _phrase(self, entry: dict[str, Any]) -> Stretch:
        self._only(entry, "[[phrases]]", {"from", "to"})
        return self._stretch(entry, "[[phrases]]")

    def _figure(self, entry: dict[str, Any]) -> FigureRule:
        self._only(entry, "[[figures]]", {"hand", "beats", "from", "to"})
        beats = entry.get("beats")
        exact = read_decimal(str(beats)) if isinstance(beats, int | float) else None
        if exact is None or not 0 < exact <= 64:
            raise self._complaint("[[figures]] needs beats, the length of its cell")
        return FigureRule(
            self._hand(entry, "[[figures]]"), self._stretch(entry, "[[figures]]"), exact
        )

    def _stretch(self, entry: dict[str, Any], where: str) -> Stretch:
        return Stretch(self._place(entry, "from", where), self._place(entry, "to", where))

    def _place(self, entry: dict[str, Any], key: str, where: str) -> Place:
        text = entry.get(key)
        found = _PLACE.fullmatch(text.strip()) if isinstance(text, str) else None
        if found is None:
            raise self._complaint(f'{where} needs {key} = a place such as "5", "5:3" or "5@2:3"')
        bar, time, beat = found.groups()
        return Place(bar, int(time) if time else None, _beat(beat) if beat else None)


def _beat(text: str) -> Fraction | None:
    fraction = _BEAT_FRACTION.fullmatch(text)
    if fraction:
        return Fraction(int(fraction[1]), int(fraction[2]) or 1)
    return read_decimal(text)
