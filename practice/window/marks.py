"""What a finished pass says of each note on the page, before it has a place or a colour."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from engine.arrangement import Arrangement
from engine.findings import Finding, Slip
from engine.performance import PlayedNote
from engine.pitch_names import pitch_name, printed
from practice.snapshot import PassRecord
from practice.window.keeping import PASSES, kept_by_identity

#: Deviations beyond this are shown by an arrow.
FURTHEST_MS = 60.0
#: Over several passes a slip is shown from so many on: once is no habit.
LEAST_TIMES = 2


SlipKind = Literal["missing", "wrong", "extra"]
_SlipKey = tuple[SlipKind, int, int, str]


@dataclass(frozen=True, slots=True)
class TimingMark:
    """A note that was right: how late it came (negative: early), over how many passes."""

    score: int
    deviation_ms: float
    passes: int = 1


@dataclass(frozen=True, slots=True)
class SlipMark:
    """A note that was not.

    Attributes:
        kind: missing (bracketed), wrong (beside the note it stood for), extra.
        score: the note it concerns; for extra notes the nearest one in time of that hand.
        steps: how many staff steps over that note's head the mark stands (0 for missing).
        name: what was played, as the page would spell it; "" for missing.
        times: in how many passes; out_of: of how many.
    """

    kind: SlipKind
    score: int
    steps: int = 0
    name: str = ""
    times: int = 1
    out_of: int = 1


@dataclass(frozen=True, slots=True)
class PageMarks:
    """All marks of a pass, or of several together."""

    timing: tuple[TimingMark, ...] = ()
    slips: tuple[SlipMark, ...] = ()


def read_marks(arrangement: Arrangement, records: Sequence[PassRecord]) -> PageMarks:
    """The marks of one pass, or what usually happens over several."""
    return _read_together(arrangement, *records)


@kept_by_identity(2)
def _read_together(arrangement: Arrangement, *records: PassRecord) -> PageMarks:
    least = 1 if len(records) == 1 else LEAST_TIMES
    timing: dict[int, list[float]] = {}
    slips: Counter[_SlipKey] = Counter()
    for record in records:
        heard, keys = _marks_of(record, arrangement)
        for score, deviation in heard:
            timing.setdefault(score, []).append(deviation)
        slips.update(keys)
    return PageMarks(
        tuple(_mean_mark(score, heard) for score, heard in sorted(timing.items())),
        tuple(
            SlipMark(kind, score, steps, name, times, len(records))
            for (kind, score, steps, name), times in sorted(slips.items(), key=lambda i: i[0][1])
            if times >= least
        ),
    )


@kept_by_identity(PASSES)
def _marks_of(
    record: PassRecord, arrangement: Arrangement
) -> tuple[list[tuple[int, float]], frozenset[_SlipKey]]:
    heard = [
        (finding.score, _deviation_of(record, finding))
        for finding in record.findings
        if finding.what == "right" and finding.score is not None
    ]
    return heard, frozenset(_slip_keys(arrangement, record))


def _mean_mark(score: int, heard: list[float]) -> TimingMark:
    known = [ms for ms in heard if not math.isnan(ms)]
    return TimingMark(score, sum(known) / len(known) if known else math.nan, len(heard))


def _deviation_of(record: PassRecord, finding: Finding) -> float:
    if finding.played is None:
        return math.nan
    position = finding.played - record.notes[0].index
    return record.deviations_ms[position] if position < len(record.deviations_ms) else math.nan


def played_note(record: PassRecord, played: int) -> PlayedNote:
    """A note of the pass by its index in the take."""
    return record.notes[played - record.notes[0].index]


def _slip_keys(arrangement: Arrangement, record: PassRecord) -> list[_SlipKey]:
    names = {s.played: s for s in record.slips if s.played is not None}
    keys: list[_SlipKey] = []
    for finding in record.findings:
        if finding.what == "missing" and finding.score is not None:
            keys.append(("missing", finding.score, 0, ""))
        elif finding.what in ("wrong", "extra") and finding.played is not None:
            near = finding.stands_for
            if near is None:
                near = nearest_right(record, finding.played)
            if near is not None:
                name = _name_heard(record, finding.played, names.get(finding.played))
                steps = steps_between(arrangement, near, name)
                keys.append((finding.what, near, steps, printed(name)))
    return keys


def _name_heard(record: PassRecord, played: int, slip: Slip | None) -> str:
    if slip is not None and slip.heard:
        return slip.heard
    return pitch_name(played_note(record, played).pitch)


def nearest_right(record: PassRecord, played: int) -> int | None:
    """The score note heard nearest to a played one: in time, and a little in pitch."""
    index = index_pass(record)
    if not index.score.size:
        return None
    note = played_note(record, played)
    far = np.abs(index.onset_s - note.onset_s) + 0.02 * np.abs(index.pitch - note.pitch)
    return int(index.score[int(np.argmin(far))])


@dataclass(frozen=True, eq=False)
class PassIndex:
    """The right notes of a pass as arrays, in order of the findings."""

    score: npt.NDArray[np.int64]
    onset_s: npt.NDArray[np.float64]
    pitch: npt.NDArray[np.float64]


@kept_by_identity(2)
def index_pass(record: PassRecord) -> PassIndex:
    """The right notes of a pass."""
    rows = [
        (finding.score, note.onset_s, note.pitch)
        for finding in record.findings
        if finding.what == "right" and finding.played is not None
        for note in (played_note(record, finding.played),)
    ]
    table = np.array(rows, float).reshape(-1, 3)
    return PassIndex(table[:, 0].astype(np.int64), table[:, 1], table[:, 2])


def steps_between(arrangement: Arrangement, score: int, name: str) -> int:
    """Staff steps from a score note up to a spelled pitch ("Bbb4")."""
    note = arrangement.notes[score]
    letters = "CDEFGAB"
    octave = int("".join(c for c in name if c.isdigit() or c == "-") or note.octave)
    return 7 * (octave - note.octave) + letters.index(name[0]) - letters.index(note.step)
