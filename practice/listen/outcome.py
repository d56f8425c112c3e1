"""What a whole session came to, as one review: all takes in one numbering and one time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from engine.arrangement import Arrangement
from engine.findings import Finding
from engine.performance import PedalMove, PlayedNote, Recording
from engine.result import result_json
from engine.review import PassReview, Review
from practice.listen.happenings import TakeBegan, TakeEnded
from practice.listen.judge import Judged
from practice.listen.recalled import count_whole


@dataclass
class Outcome:
    """Gathers takes and judged passes, in any order; read once the session is over.

    Attributes:
        keeps_all: for a review of it all; otherwise only the newest passes are held.
        began, ended: by take. judged: passes in order. takes: of every pass judged, its take.
    """

    keeps_all: bool = True
    began: dict[int, TakeBegan] = field(default_factory=dict)
    ended: dict[int, TakeEnded] = field(default_factory=dict)
    judged: list[Judged] = field(default_factory=list)
    takes: list[int] = field(default_factory=list)

    def end(self, ended: TakeEnded) -> None:
        """A take is over."""
        if self.keeps_all:
            self.ended[ended.take] = ended

    def add(self, judged: Judged) -> int:
        """One more pass; its number in the session, from 1."""
        self.takes.append(judged.ended.take)
        self.judged.append(judged)
        if not self.keeps_all:
            whole = count_whole([len(one.review.notes) for one in self.judged])
            del self.judged[: len(self.judged) - whole]
        return len(self.takes)

    def find(self, number: int) -> Judged | None:
        """The pass of that number; None where there is none or it is held no longer."""
        at = number - 1 - (len(self.takes) - len(self.judged))
        return self.judged[at] if 0 <= at < len(self.judged) else None

    def review(self, arrangement: Arrangement) -> Review:
        """All takes of an arrangement. Notes are numbered through, times count from the first
        take's zero."""
        notes: list[PlayedNote] = []
        pedals: list[PedalMove] = []
        findings: list[Finding] = []
        passes: list[PassReview] = []
        for take in self._takes_of(arrangement):
            shift, later_s = len(notes), self._later_s(take)
            ended = self.ended[take]
            notes += [_shift_note(n, shift, later_s) for n in ended.notes]
            pedals += [replace(p, time_s=p.time_s + later_s) for p in ended.pedals]
            for one in self._judged_in(take):
                passes.append(_shift_pass(_with_live(one.review, ended.live), shift, later_s))
                findings += _numbered_through(passes[-1])
        return Review(Recording(tuple(notes), tuple(pedals)), tuple(findings), tuple(passes))

    def _takes_of(self, arrangement: Arrangement) -> list[int]:
        return [
            take
            for take in sorted(self.ended)
            if self.began[take].arrangement.content_hash == arrangement.content_hash
        ]

    def _judged_in(self, take: int) -> list[Judged]:
        return [one for one in self.judged if one.ended.take == take]

    def _later_s(self, take: int) -> float:
        return self.began[take].start_s - self.began[min(self.began)].start_s

    def result(self, arrangement: Arrangement, numbers: dict[int, int]) -> dict[str, Any]:
        """The result in JSON; `numbers` are the takes' numbers in the store, where kept."""
        result = result_json(arrangement, self.review(arrangement))
        takes = [
            one.ended.take for take in self._takes_of(arrangement) for one in self._judged_in(take)
        ]
        for told, take in zip(result["passes"], takes, strict=True):
            if numbers.get(take):
                told["take"] = numbers[take]
        return result


def _shift_note(note: PlayedNote, shift: int, later_s: float) -> PlayedNote:
    return replace(
        note,
        index=note.index + shift,
        onset_s=note.onset_s + later_s,
        release_s=note.release_s + later_s,
    )


def _shift_pass(one: PassReview, shift: int, later_s: float) -> PassReview:
    """The same pass in the session's numbers and time; its own notes stay numbered from 0."""
    return replace(
        one,
        first=one.first + shift,
        notes=tuple(_shift_note(n, 0, later_s) for n in one.notes),
        pedals=tuple(replace(p, time_s=p.time_s + later_s) for p in one.pedals),
        pulse=replace(one.pulse, start_s=one.pulse.start_s + later_s),
        played=replace(
            one.played, first=one.first + shift, last=one.first + shift + len(one.notes) - 1
        ),
    )


def _with_live(one: PassReview, live: Sequence[Finding]) -> PassReview:
    """The pass with what stood of each of its notes while it was played."""
    standing = {f.played: f for f in live}
    mine = [standing.get(one.first + n.index) for n in one.notes]
    told = tuple(
        replace(f, played=n.index) for f, n in zip(mine, one.notes, strict=True) if f is not None
    )
    return replace(one, live=told if len(told) == len(one.notes) else ())


def _numbered_through(one: PassReview) -> list[Finding]:
    return [
        f if f.played is None else replace(f, played=f.played + one.first) for f in one.findings
    ]
