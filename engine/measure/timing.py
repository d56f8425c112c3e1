"""Timing: against the click where there is one, else against the player's own tempo."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.arrangement import Hand
from engine.findings import Estimate, no_estimate
from engine.measure import interval
from engine.measure.deviation import click_s, row_deviations_ms
from engine.measure.heard import Heard, Indices, Numbers
from engine.measure.tempo import HESITATION_BEATS, HESITATION_S, LEAST_MOMENTS, Moments
from engine.performance import Pulse

#: In order of their codes in the note table.
HANDS: tuple[Hand, Hand] = ("left", "right")
#: A silence of both hands on the page this long makes what follows an entry.
REST_Q = 1.0
#: Beyond this trend (ms of asynchrony a minute) at a mean ahead of the click, it is rushing.
RUSHING_MS_PER_MINUTE = 60.0


@dataclass(frozen=True, slots=True)
class TempoPoint:
    """Tempo over one bar: quarters a minute, and as a share of the mark."""

    bar: str
    bar_time: int
    tempo_qpm: float
    mark_share: float


@dataclass(frozen=True, slots=True)
class Hesitation:
    """A wait before a moment: how long, and in beats of the local tempo."""

    bar: str
    bar_time: int
    beat: float
    length_ms: float
    beats: float


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry of a hand after a written rest in it: how late."""

    bar: str
    bar_time: int
    beat: float
    hand: Hand
    deviation_ms: float


@dataclass(frozen=True, slots=True)
class Timing:
    """Timing of a pass.

    Attributes:
        pulse: strict or free.
        tempo_qpm: quarters a minute over the pass, waits left out; mark_share: over the mark.
        median_deviation_ms: median of |deviation| of the moments.
        asynchrony_ms, asynchrony_sd_ms: strict: mean and SD of moment minus click.
        asynchrony_drift_ms_per_minute: strict: trend of the asynchrony, negative rushing.
        tempo_sd_percent: how much the local tempo moves from bar to bar.
        tempo_curve, hesitations, entries: by place.
        words: anticipation told apart from rushing.
    """

    pulse: str
    tempo_qpm: Estimate
    mark_share: Estimate
    median_deviation_ms: Estimate
    asynchrony_ms: Estimate
    asynchrony_sd_ms: Estimate
    asynchrony_drift_ms_per_minute: Estimate
    tempo_sd_percent: Estimate
    tempo_curve: tuple[TempoPoint, ...]
    hesitations: tuple[Hesitation, ...]
    entries: tuple[Entry, ...]
    words: str


def measure_timing(heard: Heard, moments: Moments, pulse: Pulse) -> Timing | Estimate:
    """Timing of the moments of a span."""
    if len(moments.time_s) < LEAST_MOMENTS:
        return no_estimate(
            f"too few onsets to tell a tempo: {len(moments.time_s)}, at least {LEAST_MOMENTS}"
        )
    late_ms = row_deviations_ms(heard, moments, pulse)
    deviation = _moment_deviations(moments, late_ms)
    mean, sd, drift = _against_click(heard, moments, pulse)
    curve = _tempo_curve(heard, moments)
    qpm, share = _tempo(heard, moments)
    return Timing(
        pulse=pulse.kind,
        tempo_qpm=qpm,
        mark_share=share,
        median_deviation_ms=interval.median_of(np.abs(deviation), "ms", "onsets"),
        asynchrony_ms=mean,
        asynchrony_sd_ms=sd,
        asynchrony_drift_ms_per_minute=drift,
        tempo_sd_percent=interval.sd_of(
            [100 * np.log(p.mark_share) for p in curve], "percent", "bars"
        ),
        tempo_curve=curve,
        hesitations=_hesitations(heard, moments),
        entries=_entries(heard, moments, late_ms),
        words=_words(mean, drift),
    )


def _moment_deviations(moments: Moments, rows: Numbers) -> Numbers:
    """Mean deviation of the notes of each moment, nan where there is none."""
    has = (moments.of_row >= 0) & np.isfinite(rows)
    count = np.bincount(moments.of_row[has], minlength=len(moments.time_s))
    total = np.bincount(moments.of_row[has], rows[has], minlength=len(moments.time_s))
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _against_click(
    heard: Heard, moments: Moments, pulse: Pulse
) -> tuple[Estimate, Estimate, Estimate]:
    if pulse.kind == "free":
        none = no_estimate("no click in a free pulse", "ms")
        return none, none, none
    away = (moments.time_s - click_s(heard, moments, pulse)) * 1000.0
    return (
        interval.serial_mean_of(away, "ms", "onsets", trend=True),
        interval.sd_of(away, "ms", "onsets"),
        _serial_slope(moments.time_s / 60.0, away),
    )


def _serial_slope(x: Numbers, y: Numbers) -> Estimate:
    """Slope through the means of at most 20 stretches, so that neighbours may hang together."""
    if len(x) < 24:
        return interval.slope_of(x, y, "ms", "onsets")
    pieces = min(interval.MOST_STRETCHES, len(x) // interval.SHORTEST_STRETCH)
    found = interval.slope_of(
        [p.mean() for p in np.array_split(x, pieces)],
        [p.mean() for p in np.array_split(y, pieces)],
        "ms",
        "stretches",
    )
    return Estimate(found.value, found.low, found.high, len(x), found.unit, found.reason)


def _inside(moments: Moments) -> Indices:
    """Moments whose gap from the one before is plain playing."""
    same = moments.stretch[1:] == moments.stretch[:-1]
    return np.flatnonzero(same) + 1


def _tempo(heard: Heard, moments: Moments) -> tuple[Estimate, Estimate]:
    """Total written over total played; interval by jackknife over the bars."""
    to = _inside(moments)
    written_q = moments.onset_q[to] - moments.onset_q[to - 1]
    mark_s = moments.mark_s[to] - moments.mark_s[to - 1]
    took_s = moments.time_s[to] - moments.time_s[to - 1]
    bar = _bars(heard, moments)[to - 1] if len(to) else np.empty(0, dtype=int)

    def by_bar(values: Numbers) -> Numbers:
        return np.array([values[bar == b].sum() for b in np.unique(bar)])

    minutes = by_bar(took_s) / 60.0
    return (
        interval.ratio_of(by_bar(written_q), minutes, "", "bars"),
        interval.ratio_of(by_bar(mark_s), by_bar(took_s), "", "bars"),
    )


def _bars(heard: Heard, moments: Moments) -> Indices:
    starts = np.array([float(b.onset_q) for b in heard.arrangement.bars])
    at = np.searchsorted(starts, moments.onset_q + 1e-9, side="right") - 1
    return np.asarray(np.clip(at, 0, None), dtype=np.intp)


def _tempo_curve(heard: Heard, moments: Moments) -> tuple[TempoPoint, ...]:
    to = _inside(moments)
    if not len(to):
        return ()
    bar, run = _bars(heard, moments), moments.run
    points = []
    keys = list(dict.fromkeys(zip(run[to - 1].tolist(), bar[to - 1].tolist(), strict=True)))
    for key in keys:
        mine = to[(run[to - 1] == key[0]) & (bar[to - 1] == key[1])]
        took = float((moments.time_s[mine] - moments.time_s[mine - 1]).sum())
        written = float((moments.onset_q[mine] - moments.onset_q[mine - 1]).sum())
        marked = float((moments.mark_s[mine] - moments.mark_s[mine - 1]).sum())
        where = heard.arrangement.bars[key[1]]
        if took > 0:
            points.append(
                TempoPoint(where.number, where.time, 60.0 * written / took, marked / took)
            )
    return tuple(points)


def _hesitations(heard: Heard, moments: Moments) -> tuple[Hesitation, ...]:
    """Waits of half a beat or a quarter of a second, whichever is more; fermatas are no waits.

    At a phrase's beginning twice as much is allowed: players lengthen there, and listeners hardly
    hear it (Repp 1998, JEP:HPP 24:791-811). A fermata excuses a wait up to a beat after it, for
    the other hand may have notes to play first.
    """
    phrases = {round(float(p.from_q), 6) for p in heard.arrangement.form.phrases}
    held = [float(m.onset_q) for m in heard.arrangement.marks if m.kind in ("fermata", "breath")]
    out = []
    for i in np.flatnonzero(moments.waited_s > HESITATION_S):
        q = float(moments.onset_q[i])
        before = float(moments.onset_q[i - 1])
        beat_s = _local_beat_s(heard, moments, int(i))
        allowed = max(HESITATION_BEATS * beat_s, HESITATION_S)
        allowed *= 2.0 if round(q, 6) in phrases else 1.0
        from_q = before - float(heard.arrangement.tempo_at(q).beat_unit_q)
        if moments.waited_s[i] > allowed and not any(from_q <= h < q for h in held):
            bar = heard.arrangement.bar_at(q + 1e-9)
            wait = float(moments.waited_s[i])
            out.append(
                Hesitation(bar.number, bar.time, _beat(heard, q), wait * 1000.0, wait / beat_s)
            )
    return tuple(out)


def _beat(heard: Heard, q: float) -> float:
    bar = heard.arrangement.bar_at(q + 1e-9)
    return (q - float(bar.onset_q - bar.lead_q)) * bar.beat_unit / 4 + 1


def _local_beat_s(heard: Heard, moments: Moments, i: int) -> float:
    mark = heard.arrangement.tempo_at(float(moments.onset_q[i]))
    beat_s = float(mark.beat_unit_q) * 60.0 / mark.qpm
    near = moments.rate[max(0, i - 4) : i + 5]
    near = near[np.isfinite(near) & (near > 0)]
    return beat_s * (float(np.median(near)) if len(near) else 1.0)


def _entries(heard: Heard, moments: Moments, late_ms: Numbers) -> tuple[Entry, ...]:
    """Onsets of a hand that follow a written silence, as often as they were played."""
    out: list[tuple[float, Entry]] = []
    for code, hand in enumerate(HANDS):
        mine = heard.arrangement.table["hand"][heard.score] == code
        onset_q = heard.arrangement.table["onset_q"][heard.score]
        for q in np.unique(_ends_of_silence(heard, code)).tolist():
            rows = np.flatnonzero(mine & (np.abs(onset_q - q) < 1e-9) & np.isfinite(late_ms))
            for moment in np.unique(moments.of_row[rows]):
                late = float(late_ms[rows[moments.of_row[rows] == moment]].mean())
                bar = heard.arrangement.bar_at(q + 1e-9)
                when = float(moments.time_s[moment])
                out.append((when, Entry(bar.number, bar.time, _beat(heard, q), hand, late)))
    return tuple(entry for _, entry in sorted(out, key=lambda o: o[0]))


def _ends_of_silence(heard: Heard, code: int) -> Numbers:
    """Onsets (quarters) at which a hand comes in again; its first in the span is none.

    After a quarter in which neither hand sounds, or a bar in which this one does not.
    """
    table = heard.arrangement.table[heard.expected]
    mine = table["hand"] == code
    after, silent_q = _silences(table["onset_q"][mine], table["duration_q"][mine])
    general, general_q = _silences(table["onset_q"], table["duration_q"])
    bar_q = np.array([float(heard.arrangement.bar_at(q - 1e-9).duration_q) for q in after])
    together = np.isin(after, general[general_q > REST_Q - 1e-9])
    return np.asarray(after[together | (silent_q > bar_q - 1e-9)])


def _silences(onset_q: Numbers, duration_q: Numbers) -> tuple[Numbers, Numbers]:
    """(onset, silence before it) of each but the first of some notes, quarters."""
    order = np.argsort(onset_q, kind="stable")
    onset_q = onset_q[order]
    until = np.maximum.accumulate(onset_q + duration_q[order])
    return onset_q[1:], onset_q[1:] - until[:-1]


def _words(mean: Estimate, drift: Estimate) -> str:
    """A small steady lead is usual (Repp 2005, Psychon Bull Rev 12:969-992); a trend is not."""
    level, trend = interval.known(mean), interval.known(drift)
    if level is None or trend is None:
        return ""
    if trend[2] < 0 and trend[0] < -RUSHING_MS_PER_MINUTE:
        return "rushing: further ahead of the click as it goes on"
    if trend[1] > 0 and trend[0] > RUSHING_MS_PER_MINUTE:
        return "dragging: further behind the click as it goes on"
    if level[2] < 0:
        return "steadily a little ahead of the click, as most players are"
    return "steadily behind the click" if level[1] > 0 else "on the click"
