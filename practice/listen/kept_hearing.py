"""Kept takes heard again: their own messages, and where on the page each moment of them is.

The places come from what was found when a take was kept, not from following it afresh, so that the
page moves by what the take's marks say. Of a page saved anew since, they are carried over by pitch.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from engine.arrangement import Arrangement
from engine.errors import TakeError
from engine.findings import Finding
from engine.performance import PEDALS, KeyEvent, pair_notes
from practice.store.kept import KeptPass, KeptTake
from practice.store.store import Store

#: Between two takes heard one after the other.
BETWEEN_S = 1.5
#: Notes of a changed page are the old ones where so many pitches in a row agree.
AGREEING = 6
#: So many notes may have been put in or taken out at one place.
FARTHEST = 64


@dataclass(frozen=True, slots=True)
class KeptHearing:
    """A take to be heard.

    Attributes:
        name: as the player would say it. events: as they were kept, seconds from its start.
        moments_s: of its right notes, seconds from its start, ascending.
        places_q: where on the page each is; same shape.
        note: a line on what cannot be followed, "" where all can.
    """

    name: str
    events: tuple[KeyEvent, ...]
    moments_s: npt.NDArray[np.float64]
    places_q: npt.NDArray[np.float64]
    note: str = ""

    @property
    def first_s(self) -> float:
        """Its first message."""
        return self.events[0].time_s if self.events else 0.0

    @property
    def length_s(self) -> float:
        """From its first message to its last."""
        return self.events[-1].time_s - self.first_s if self.events else 0.0


@dataclass(frozen=True, slots=True)
class HearingTakes:
    """Takes played to the player one after the other from `start_s`."""

    takes: tuple[KeptHearing, ...]
    start_s: float

    def place_q(self, now_s: float) -> float | None:
        """The place last heard in the take that sounds, None before its first."""
        number, began_s = self._sounding(now_s)
        take = self.takes[number]
        k = int(np.searchsorted(take.moments_s, now_s - began_s + take.first_s, "right"))
        return float(take.places_q[k - 1]) if k else None

    def name(self, now_s: float) -> str:
        """Which take sounds, and how many there are."""
        number, _ = self._sounding(now_s)
        of = f" ({number + 1} of {len(self.takes)})" if len(self.takes) > 1 else ""
        return f"{self.takes[number].name}{of}"

    def note(self, now_s: float) -> str:
        """What cannot be followed of the take that sounds."""
        note = self.takes[self._sounding(now_s)[0]].note
        return f"{self.name(now_s)}: {note}" if note else ""

    @property
    def begins_s(self) -> list[float]:
        """When each take begins."""
        out = [self.start_s]
        for take in self.takes[:-1]:
            out.append(out[-1] + take.length_s + BETWEEN_S)
        return out

    @property
    def end_s(self) -> float:
        """When it is over."""
        return self.begins_s[-1] + self.takes[-1].length_s + BETWEEN_S

    def events(self) -> list[KeyEvent]:
        """Every message at its moment; what a take leaves down comes up at its end."""
        out: list[KeyEvent] = []
        for take, began_s in zip(self.takes, self.begins_s, strict=True):
            shift_s = began_s - take.first_s
            out += [replace(e, time_s=e.time_s + shift_s) for e in take.events]
            out += [KeyEvent(began_s + take.length_s, 0.0, d) for d in _endings(take.events)]
        return out

    def _sounding(self, now_s: float) -> tuple[int, float]:
        begins_s = self.begins_s
        number = max(int(np.searchsorted(begins_s, now_s, "right")) - 1, 0)
        return number, begins_s[number]


def read_hearing(store: Store, arrangement: Arrangement | None, number: int) -> KeptHearing:
    """A kept take with its places on the page as it is now; with none where there is no page.

    Raises:
        TakeError: there is no such take, it is damaged, or nothing was played in it.
    """
    take, events = store.take(number), store.events(number)
    if not events:
        raise TakeError("nothing was played in it", f"take {number}", "choose another")
    if arrangement is None:
        return KeptHearing(name_take(take), tuple(events), np.zeros(0), np.zeros(0))
    told = _find_told(store, number, events)
    changed = take.start.content_hash != arrangement.content_hash
    carried = carry_notes({score: pitch for _, score, pitch in told}, arrangement)
    onset_q = arrangement.table["onset_q"]
    rows = sorted((at_s, float(onset_q[carried[s]])) for at_s, s, _ in told if s in carried)
    moments, places = (np.array([row[k] for row in rows], dtype=float) for k in (0, 1))
    note = _say_changed(len(rows), len(told)) if changed else ""
    if not told:
        note = "the page cannot follow, nothing of this take was found on it"
    return KeptHearing(name_take(take), tuple(events), moments, places, note)


def read_hearings(
    store_path: Path, arrangement: Arrangement, numbers: Sequence[int]
) -> tuple[KeptHearing, ...]:
    """Takes to be heard, by a connection of its own.

    Raises:
        TakeError, StoreError: one of them cannot be had.
    """
    with Store(store_path) as store:
        return tuple(read_hearing(store, arrangement, number) for number in numbers)


def name_take(take: KeptTake) -> str:
    """Its number and when it was played."""
    return f"take {take.number}, {take.start.started:%Y-%m-%d %H:%M}"


def carry_notes(pitches: Mapping[int, int], arrangement: Arrangement) -> dict[int, int]:
    """Where the notes of a page are on the page as it is now.

    Args:
        pitches: by index on the old page, of the notes known of it.

    Returns:
        Their indices now; a note that has another pitch, and one whose neighbours do not agree
        either, is left out. On the same page that is every note.
    """
    pitch = [int(p) for p in arrangement.table["pitch"]]
    known = sorted(pitches)
    out: dict[int, int] = {}
    shift = 0
    for at, old in enumerate(known):
        if not _agrees(pitch, old, pitches[old], shift):
            ahead = [(k, pitches[k]) for k in known[at : at + AGREEING + 1]]
            shift = _find_shift(pitch, ahead, shift)
        if _agrees(pitch, old, pitches[old], shift):
            out[old] = old + shift
    return out


def _find_shift(pitch: Sequence[int], ahead: Sequence[tuple[int, int]], shift: int) -> int:
    """The nearest shift by which what is ahead agrees; as it was where none does, where too little
    is ahead to tell, or where only the first note has another pitch: a figure that repeats would
    else be found a cell off."""
    if len(ahead) < AGREEING or _agree(pitch, ahead[1:], shift):
        return shift
    nearest = sorted(range(-FARTHEST, FARTHEST + 1), key=abs)
    return next((shift + k for k in nearest if _agree(pitch, ahead[:AGREEING], shift + k)), shift)


def _agree(pitch: Sequence[int], ahead: Sequence[tuple[int, int]], shift: int) -> bool:
    return all(_agrees(pitch, old, played, shift) for old, played in ahead)


def _agrees(pitch: Sequence[int], old: int, played: int, shift: int) -> bool:
    return 0 <= old + shift < len(pitch) and pitch[old + shift] == played


def _find_told(
    store: Store, number: int, events: Sequence[KeyEvent]
) -> list[tuple[float, int, int]]:
    """(moment, index on the page, pitch) of each note that was found right."""
    notes = pair_notes(list(events)).notes
    told = []
    for kept in store.passes(take=number):
        for finding in _find_kept(store, kept):
            if finding.what == "right" and finding.score is not None and finding.played is not None:
                note = notes[kept.first_note + finding.played]
                told.append((note.onset_s, finding.score, note.pitch))
    return told


def _find_kept(store: Store, kept: KeptPass) -> tuple[Finding, ...]:
    """What was found of a pass; nothing where that is damaged: it is heard all the same."""
    try:
        return store.detail(kept.take, kept.number).findings
    except TakeError:
        return ()


def _say_changed(found: int, told: int) -> str:
    return f"the page has changed since, it follows {found} of {told} right notes"


def _endings(events: Sequence[KeyEvent]) -> list[bytes]:
    """What lets go of the keys and pedals that a take leaves down."""
    down: dict[tuple[int, int], bytes] = {}
    for event in events:
        kind, channel = event.data[0] & 0xF0, event.data[0] & 0x0F
        if kind in (0x80, 0x90):
            down.pop((0x80 | channel, event.data[1]), None)
            if kind == 0x90 and event.data[2]:
                down[0x80 | channel, event.data[1]] = bytes((0x80 | channel, event.data[1], 64))
        elif kind == 0xB0 and event.data[1] in PEDALS:
            down.pop((0xB0 | channel, event.data[1]), None)
            if event.data[2]:
                down[0xB0 | channel, event.data[1]] = bytes((0xB0 | channel, event.data[1], 0))
    return [down[key] for key in sorted(down)]
