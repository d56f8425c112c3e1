"""The lines of the Account: which measure each shows, how it is printed, when a change is real.

A change is real where the 95 % intervals of the two estimates lie apart. That is stricter than a
test of the difference (intervals may overlap a little at p = 0.05), so an arrow is never shown
too soon; the price is that small true changes take more passes to show.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from engine.findings import Estimate
from practice.snapshot import PassRecord

#: Passes are compared at "this tempo" within this share of it.
SAME_TEMPO = 0.08
_NOTHING = Estimate(None, reason="not measured")
Shows = Callable[[Estimate], str]


@dataclass(frozen=True, slots=True)
class LedgerLine:
    """One line.

    Attributes:
        label: its name. paths: where the estimate is among the measures; the first found counts.
        show: its print with the unit. words: for each path, one word or two.
        better: 1 where more is better, -1 where less is.
    """

    label: str
    paths: tuple[str, ...]
    show: Shows
    words: tuple[Shows, ...]
    better: int


@dataclass(frozen=True, slots=True)
class Reading:
    """What a line reads from a pass: the estimate, its word, and where it was found.

    Readings from two paths are two measures: they are never set against each other.
    """

    found: Estimate
    word: str = ""
    path: str = ""


def _in_ms(found: Estimate) -> str:
    return f"{found.value or 0:.0f} ms"


def _in_percent(found: Estimate) -> str:
    value = 100 * (found.value or 0)
    return f"{value:.0f} %" if value >= 99.95 or value < 90 else f"{value:.1f} %"


def _in_velocity(found: Estimate) -> str:
    value = round(found.value or 0)
    return f"{'+' if value > 0 else '−' if value < 0 else ''}{abs(value)} vel"


def _among(*steps: tuple[float, str], beyond: str) -> Shows:
    """Words by value: the first step the value does not exceed."""

    def word(found: Estimate) -> str:
        value = abs(found.value or 0.0)
        return next((text for top, text in steps if value <= top), beyond)

    return word


#: Steps of the words: notes from the definition of a good pass (97 %); octaves from the skilled
#: players' spread; the others from the repertoire's quartiles. They name, they do not judge.
_NOTES = _among((0.90, "part"), (0.97, "most"), (0.99999, "nearly all"), beyond="all")
_TIMING = _among((15.0, "steady"), (35.0, "moving"), beyond="loose")
_EVENNESS = _among((12.5, "even"), (22.0, "usual"), beyond="uneven")
_OCTAVES = _among((10.0, "together"), (20.0, "close"), (30.0, "loose"), beyond="split")
_CHANGES = _among((0.5, "unclear"), (0.85, "mostly"), beyond="clean")
_DOWN = _among((0.5, "little"), (0.85, "partly"), beyond="held")
_BALANCE = _among((3.0, "level"), (12.0, "singing"), beyond="well over")
LINES: tuple[LedgerLine, ...] = (
    LedgerLine("notes", ("notes.right_share",), _in_percent, (_NOTES,), 1),
    LedgerLine(
        "timing", ("timing.asynchrony_sd_ms", "timing.median_deviation_ms"), _in_ms,
        (_TIMING, _TIMING), -1,
    ),
    LedgerLine("evenness", ("evenness.sd_ms",), _in_ms, (_EVENNESS,), -1),
    LedgerLine(
        "octaves", ("octaves.median_abs_residual_ms", "octaves.median_abs_split_ms"), _in_ms,
        (_OCTAVES, _OCTAVES), -1,
    ),
    LedgerLine(
        "pedal", ("pedal.changes_clean_share", "pedal.down_share"), _in_percent,
        (_CHANGES, _DOWN), 1,
    ),
    LedgerLine(
        "balance", ("balance.line_over_figure_velocity",), _in_velocity, (_BALANCE,), 0
    ),
)  # fmt: skip


def read_line(line: LedgerLine, record: PassRecord) -> Reading:
    """What a line reads from a pass; with the reason where it reads nothing."""
    none = _NOTHING
    for path, word in zip(line.paths, line.words, strict=True):
        found = _follow(record.measures, path)
        if isinstance(found, Estimate):
            if found.value is not None:
                return Reading(found, word(found), path)
            none = found if none is _NOTHING else none
    return Reading(none)


def read_value(line: LedgerLine, record: PassRecord) -> Estimate:
    """The estimate a line shows for a pass; with the reason where there is none."""
    return read_line(line, record).found


def _follow(measures: Any, path: str) -> Any:
    """What a dotted path leads to; an `Estimate` on the way (no such measure) ends it."""
    at = measures
    for name in path.split("."):
        if isinstance(at, Estimate):
            return at
        at = getattr(at, name, None)
    return at


def are_fingered_alike(path: str, one: PassRecord, other: PassRecord) -> bool:
    """Whether two passes of a figure may be compared: evenness is of one fingering."""
    fingering = "evenness.fingering"
    return not path.startswith("evenness.") or (
        _follow(one.measures, fingering) == _follow(other.measures, fingering)
    )


def is_real_change(line: LedgerLine, now: PassRecord, before: PassRecord) -> int:
    """1 for better, -1 for worse, 0 where the two cannot be told apart or neither is better."""
    here, there = read_line(line, now), read_line(line, before)
    one, other = here.found, there.found
    if here.path != there.path or not are_fingered_alike(here.path, now, before):
        return 0
    if one.low is None or one.high is None or other.low is None or other.high is None:
        return 0
    if one.low > other.high:
        return line.better
    if one.high < other.low:
        return -line.better
    return 0


def best_at_tempo(passes: Sequence[PassRecord], record: PassRecord) -> PassRecord | None:
    """The earlier or same pass of this span, hand and tempo with the most notes right."""
    alike = [
        r
        for r in passes
        if r.span == record.span
        and r.hands == record.hands
        and r.instrument == record.instrument
        and abs(r.tempo_qpm - record.tempo_qpm) <= SAME_TEMPO * record.tempo_qpm
    ]
    return max(alike, key=_merit, default=None)


def _merit(record: PassRecord) -> tuple[bool, float, float]:
    notes = read_value(LINES[0], record).value
    even = read_value(LINES[2], record).value
    return record.good, notes or 0.0, -(even if even is not None else 1e9)
