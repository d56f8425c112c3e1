"""Form: was it played through, was the repeat taken, was the last note held as long as written?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from engine.findings import Estimate, no_estimate
from engine.measure.heard import Heard
from engine.measure.pedal_state import damper_steps
from engine.measure.tempo import Moments
from engine.performance import PedalMove

#: A bar counts as played with this share of its notes; a span as complete with all bars.
BAR_PLAYED_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Repeat:
    """A stretch that the page brings again: printed bars, which time, and whether it was played."""

    from_bar: str
    to_bar: str
    bar_time: int
    taken: bool


@dataclass(frozen=True, slots=True)
class HeldNote:
    """The last note: the key held, and sounding with the pedal, as shares of the written length."""

    bar: str
    bar_time: int
    written_ms: float
    held_ms: float
    held_share: float
    sounded_share: float


@dataclass(frozen=True, slots=True)
class FormKept:
    """How the form of the span was kept.

    Attributes:
        complete: every bar of the span with notes was played.
        whole_piece: the span is the whole arrangement.
        bars_played, bars_asked: counts of bars with notes.
        left_out: printed numbers of bars not played (with "@2" for the second time through).
        goings_back: how often the player went back or began again.
        repeats: each written repeat in the span.
        last_note: where the last note was reached.
    """

    complete: bool
    whole_piece: bool
    bars_played: int
    bars_asked: int
    left_out: tuple[str, ...]
    goings_back: int
    repeats: tuple[Repeat, ...]
    last_note: HeldNote | Estimate


def measure_form(
    heard: Heard, moments: Moments, pedals: Sequence[PedalMove]
) -> FormKept | Estimate:
    """Form of a span; a reason where it holds no notes."""
    if not len(heard.expected):
        return no_estimate("no notes in what was asked for")
    bar = heard.arrangement.table["bar"]
    asked = np.unique(bar[heard.expected])
    there = np.isin(heard.expected, heard.score)
    played = {int(b) for b in asked if there[bar[heard.expected] == b].mean() >= BAR_PLAYED_SHARE}
    bars = heard.arrangement.bars
    return FormKept(
        complete=len(played) == len(asked),
        whole_piece=heard.span.from_bar == 0 and heard.span.to_bar == len(bars) - 1,
        bars_played=len(played),
        bars_asked=len(asked),
        left_out=tuple(_bar_name(heard, int(b)) for b in asked if int(b) not in played),
        goings_back=_goings_back(moments),
        repeats=_repeats(heard, played),
        last_note=_last_note(heard, moments, pedals),
    )


def _goings_back(moments: Moments) -> int:
    """Runs that begin before the one before them ended; jumping ahead is no going back."""
    begins = np.flatnonzero(np.diff(moments.run)) + 1
    return int((moments.onset_q[begins] <= moments.onset_q[begins - 1]).sum())


def _bar_name(heard: Heard, index: int) -> str:
    bar = heard.arrangement.bars[index]
    return bar.number if bar.time == 1 else f"{bar.number}@{bar.time}"


def _repeats(heard: Heard, played: set[int]) -> tuple[Repeat, ...]:
    """Unbroken rows of bars that come again; taken if half their bars were played."""
    bars = heard.arrangement.bars[heard.span.from_bar : heard.span.to_bar + 1]
    rows: list[list[int]] = []
    for bar in bars:
        if bar.time > 1:
            last = rows[-1][-1] if rows else -9
            if last == bar.index - 1 and heard.arrangement.bars[last].time == bar.time:
                rows[-1].append(bar.index)
            else:
                rows.append([bar.index])
    whole = heard.arrangement.bars
    return tuple(
        Repeat(
            whole[row[0]].number,
            whole[row[-1]].number,
            whole[row[0]].time,
            sum(i in played for i in row) * 2 >= len(row),
        )
        for row in rows
    )


def _last_note(heard: Heard, moments: Moments, pedals: Sequence[PedalMove]) -> HeldNote | Estimate:
    """The longest of the last onset's notes that were let go, at the local tempo before it."""
    table = heard.arrangement.table
    onset = table["onset_q"][heard.expected]
    last = heard.expected[np.abs(onset - onset.max()) < 1e-9]
    # A page may end in a grace note, which has no length to be held for.
    last = last[table["duration_s"][last] > 0]
    if not len(last):
        return no_estimate("the last note has no written length")
    rows = heard.rows(last)
    last, rows = last[rows >= 0], rows[rows >= 0]
    let_go = np.isfinite(heard.release_s[rows])
    last, rows = last[let_go], rows[let_go]
    if not len(rows):
        return no_estimate("the last note was not reached or is still held")
    k = int(np.argmax(table["duration_q"][last]))
    row = int(rows[k])
    note = heard.arrangement.notes[int(last[k])]
    rates = moments.rate[np.isfinite(moments.rate) & (moments.rate > 0)][-8:]
    rate = float(np.median(rates)) if len(rates) else 1.0
    written = float(table["duration_s"][last[k]]) * rate
    key = float(heard.release_s[row] - heard.onset_s[row])
    ring = damper_steps(pedals).held_until(float(heard.release_s[row])) - heard.onset_s[row]
    bar = heard.arrangement.bars[note.bar]
    return HeldNote(
        bar.number, bar.time, written * 1000, key * 1000, key / written, float(ring) / written
    )
