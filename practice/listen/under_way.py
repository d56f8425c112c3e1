"""The pass under way: its notes, what is said of them so far, and when it is over."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from engine.arrangement import Arrangement
from engine.findings import Finding
from engine.performance import PedalMove, PlayedNote, Pulse
from practice.listen.pace import Pace, Silences


class PassUnderWay:
    """One pass while it is played. Times are seconds in the take.

    Args:
        arrangement: what is played from.
        silences: of the span and hands.
        pulse: free, or strict with its downbeat.
        start_s: when it began.
        s_per_q: tempo to begin with.
    """

    def __init__(
        self,
        arrangement: Arrangement,
        silences: Silences,
        pulse: Pulse,
        start_s: float,
        s_per_q: float,
    ) -> None:
        self._onset_q = arrangement.table["onset_q"]
        self._silences = silences
        self.pulse = pulse
        #: number in the take of its first note; and among the notes the follower heard
        self.first = self.judged = 0
        self.pace = Pace(s_per_q)
        self.notes: list[PlayedNote] = []
        self.pedals: list[PedalMove] = []
        self._findings: dict[int, Finding] = {}
        self._missing: dict[int, Finding] = {}
        self._last_heard: set[int] = set()
        self.place_q: float | None = None
        self.last_strike_s = self.last_move_s = start_s

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The newest finding for each note, and the notes left out so far."""
        return (*self._findings.values(), *self._missing.values())

    def strike(self, note: PlayedNote, judged: int) -> None:
        """A key went down; the note has the take's number, `judged` is the follower's."""
        if not self.notes:
            self.first, self.judged = note.index, judged
        self.notes.append(replace(note, index=len(self.notes)))
        self.last_strike_s = self.last_move_s = note.onset_s

    def lift(self, note: PlayedNote) -> None:
        """A key came up."""
        at = note.index - self.first
        if 0 <= at < len(self.notes):
            self.notes[at] = replace(note, index=at)
            self.last_move_s = max(self.last_move_s, note.release_s)

    def learn(self, findings: Iterable[Finding]) -> None:
        """What the follower says, in its own numbers; what concerns earlier passes is not ours."""
        for finding in findings:
            if finding.played is None:
                if finding.score is not None:
                    self._missing[finding.score] = finding
                continue
            at = finding.played - self.judged
            if at >= 0:
                self._findings[at] = replace(finding, played=at)
                self._note_place(finding, at)

    def _note_place(self, finding: Finding, at: int) -> None:
        told = finding.score if finding.what == "right" else finding.stands_for
        if told is None or finding.what == "ornament":
            return
        self._missing.pop(told, None)
        here_q = float(self._onset_q[told])
        if finding.what == "right":
            self.pace.hear(here_q, self.notes[at].onset_s)
        if at == len(self.notes) - 1:
            self._note_newest(int(self._silences.stands[told]), here_q)

    def _note_newest(self, told: int, here_q: float) -> None:
        if here_q < self._silences.last_q - self._silences.beat_q(here_q):
            self._last_heard.clear()
        if told in self._silences.last_notes:
            self._last_heard.add(told)
        self.place_q = here_q

    @property
    def at_end(self) -> bool:
        """The last written moment of the span has been heard and nothing before it since."""
        return bool(self._last_heard)

    def is_back(self, findings: Iterable[Finding], judged: int) -> bool:
        """The note just heard is the span begun again: right, and well before the end."""
        last_q = self._silences.last_q
        return any(
            f.played == judged
            and f.score is not None
            and self._onset_q[f.score] < last_q - self._silences.beat_q(last_q)
            for f in findings
        )

    def over_at_s(self, keys_down: bool, end_s: float = math.inf) -> float:
        """When it is over if nothing more comes.

        Args:
            keys_down: some key is still held.
            end_s: where a strict pulse ends.
        """
        place_q, s_per_q = self.place_q, self.pace.s_per_q
        stopped_s = self.last_strike_s + self._silences.allowed_s(place_q, s_per_q)
        beat_s = self._silences.beat_q(self._silences.last_q) * s_per_q
        if self.at_end and not keys_down:
            if self._last_heard == self._silences.last_notes:
                return self.last_move_s
            stopped_s = min(stopped_s, self.last_move_s + beat_s)
        return min(stopped_s, max(end_s + beat_s, self.last_move_s))
