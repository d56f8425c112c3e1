"""What the pedals did after a pass: its last harmony rings on, though it is over and judged."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from engine.performance import PedalMove, PlayedNote
from practice.listen.happenings import PassEnded
from practice.snapshot import PassRecord

#: Of so many of the newest passes it is held; older ones end with their last key when heard again.
HELD = 64


class RingingOn:
    """Pedal moves after the last release of each pass, until all pedals were up.

    Of a pass under whose end no pedal was down there is nothing to hold.
    """

    def __init__(self) -> None:
        self._by_last: dict[tuple[int, float], list[PedalMove]] = {}
        self._now: list[PedalMove] | None = None
        self._down: dict[int, int] = {}

    def begin(self, ended: PassEnded) -> None:
        """A pass is over; what is heard from now on may belong to its end."""
        over_s = last_release_s(ended.notes)
        self._down = {m.controller: m.value for m in ended.pedals if m.time_s <= over_s}
        self._now = [] if any(self._down.values()) else None
        if self._now is not None:
            self._by_last[_last_of(ended.notes)] = self._now
            if len(self._by_last) > HELD:
                del self._by_last[next(iter(self._by_last))]
        for move in ended.pedals:
            if move.time_s > over_s:
                self.hear(move)

    def hear(self, move: PedalMove) -> None:
        """A pedal moved while no pass was played; time from the take's zero."""
        if self._now is None:
            return
        self._now.append(move)
        self._down[move.controller] = move.value
        if not any(self._down.values()):
            self._now = None

    def stop(self) -> None:
        """Another pass begins, or the take is over."""
        self._now = None

    def complete(self, record: PassRecord) -> PassRecord:
        """A pass with the pedal moves that followed it."""
        after = self._by_last.get(_last_of(record.notes), []) if record.notes else []
        return replace(record, pedals=(*record.pedals, *after)) if after else record


def last_release_s(notes: Sequence[PlayedNote]) -> float:
    """The last release, or stroke where that was never released."""
    return max(n.onset_s if math.isnan(n.release_s) else n.release_s for n in notes)


def _last_of(notes: Sequence[PlayedNote]) -> tuple[int, float]:
    """Tells passes of one session apart: no two end with the same key at the same moment."""
    return notes[-1].pitch, notes[-1].onset_s
