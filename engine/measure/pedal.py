"""The damper pedal: held where it should be, changed with the harmony, and what blurs or smears.

Moments of lifting and catching are crossings of 64 (MIDI 1.0: 64 and over is on); what counts as
a lift at all has hysteresis (`engine.measure.pedal_state`). Times are relative to the new bass,
positive after it. The bands are choices of this project from the percentiles of 57,286
changes in (n)ASAP and 3,499 in the Vienna 4x22 corpus.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from engine.findings import Estimate, no_estimate
from engine.measure import interval
from engine.measure.harmony_times import (
    Region,
    find_regions,
    long_runs,
    marked_pedals,
    play_time_s,
)
from engine.measure.heard import Heard
from engine.measure.instrument import Instrument
from engine.measure.pedal_state import Damper, Lift, damper_steps
from engine.measure.ringing import Ringing, let_ring, together_db, under_db
from engine.measure.smear import Smear, find_smears
from engine.measure.tempo import Moments
from engine.performance import DAMPER, PedalMove

#: Clean: lifted and caught again inside these, ms from the new bass.
CLEAN_LIFT_MS, CLEAN_CATCH_MS = (-80.0, 110.0), (70.0, 320.0)
LATE_LIFT_MS, GAP_UP_MS = 150.0, 500.0
#: A lift belongs to a change if it comes this close to the new bass, seconds.
BEFORE_S, AFTER_S = 0.5, 1.0
#: Blur is read so long after the new bass: three in four have caught the pedal again by then.
BLUR_AFTER_S = 0.35


@dataclass(frozen=True, slots=True)
class Change:
    """The pedal at one change of harmony.

    Attributes:
        bar, bar_time, beat: of the new harmony.
        kind: clean, late (lifted late: blur), kept (caught before the new bass, so that the old
            harmony is kept), gap (up for over half a second), missed (not lifted), dry (not down),
            other.
        lift_ms, catch_ms: from the new bass; lift_chord_ms, catch_chord_ms: from the mean of the
            new chord; None where there was none. up_ms: between them.
        old_under_new_db: level of the old harmony's foreign notes under the new notes, 0.35 s after
            the new bass; the same if strings ring on for half (fast) or twice (slow) as long.
        gap_ms: silence between the old harmony's end and the new bass.
    """

    bar: str
    bar_time: int
    beat: float
    kind: str
    lift_ms: float | None
    catch_ms: float | None
    lift_chord_ms: float | None
    catch_chord_ms: float | None
    up_ms: float | None
    old_under_new_db: float
    old_under_new_fast_db: float
    old_under_new_slow_db: float
    gap_ms: float


@dataclass(frozen=True, slots=True)
class Leak:
    """The damper up inside one harmony: where, how long, how far (lowest CC64 value)."""

    bar: str
    bar_time: int
    beat: float
    up_ms: float
    lowest: int


@dataclass(frozen=True, slots=True)
class Pedal:
    """The damper over a pass.

    Attributes:
        down_share: share of the marked time that it was down (64 and over); of all the time where
            the page marks none (`marked` says which).
        half_share: share of the same time spent between the bite points.
        changes_clean_share: clean changes among all.
        lift_ms, catch_ms, up_ms: means over the changes; median_lift_ms, median_catch_ms.
        old_under_new_db: median over the changes, and for decays twice and half as fast.
        gap_ms: mean over the changes.
        changes, leaks, smears: by place. half_changes: dips that never quite let go.
        smear_db: median level of earlier line notes under each new one (`engine.measure.smear`).
        calibrated: the half-pedal points are this instrument's own.
    """

    marked: bool
    down_share: Estimate
    half_share: Estimate
    changes_clean_share: Estimate
    lift_ms: Estimate
    catch_ms: Estimate
    up_ms: Estimate
    median_lift_ms: Estimate
    median_catch_ms: Estimate
    old_under_new_db: Estimate
    old_under_new_fast_db: Estimate
    old_under_new_slow_db: Estimate
    gap_ms: Estimate
    smear_db: Estimate
    half_changes: int
    changes: tuple[Change, ...]
    leaks: tuple[Leak, ...]
    smears: tuple[Smear, ...]
    calibrated: bool


def measure_pedal(
    heard: Heard,
    moments: Moments,
    pedals: Sequence[PedalMove],
    instrument: Instrument | None = None,
) -> Pedal | Estimate:
    """Everything about the damper; a reason where no pedal was seen or nothing was played."""
    if not len(long_runs(moments)):
        return no_estimate("too little was played to place the pedal")
    if not any(m.controller == DAMPER for m in pedals):
        return no_estimate("no damper pedal was seen; is one connected?")
    damper = damper_steps(pedals)
    ringing = let_ring(heard.notes, damper, instrument)
    regions = find_regions(heard, moments)
    lifts = damper.lifts()
    changes, used = _changes(heard, regions, lifts, damper, ringing)
    smears, smear_db = find_smears(heard, regions, ringing)
    marked, down, half = _shares(heard, moments, damper, ringing)
    return Pedal(
        marked=marked,
        down_share=down,
        half_share=half,
        changes_clean_share=interval.share_of(
            sum(c.kind == "clean" for c in changes), len(changes), "changes of harmony"
        ),
        lift_ms=_mean(changes, "lift_ms"),
        catch_ms=_mean(changes, "catch_ms"),
        up_ms=_mean(changes, "up_ms"),
        median_lift_ms=_median(changes, "lift_ms", "ms"),
        median_catch_ms=_median(changes, "catch_ms", "ms"),
        old_under_new_db=_median(changes, "old_under_new_db", "db"),
        old_under_new_fast_db=_median(changes, "old_under_new_fast_db", "db"),
        old_under_new_slow_db=_median(changes, "old_under_new_slow_db", "db"),
        gap_ms=_mean(changes, "gap_ms"),
        smear_db=smear_db,
        half_changes=_half_changes(damper),
        changes=changes,
        leaks=_leaks(heard, moments, regions, lifts, used),
        smears=smears,
        calibrated=instrument is not None,
    )


def _column(changes: Sequence[Change], name: str) -> list[float]:
    values = (getattr(c, name) for c in changes)
    return [float(v) for v in values if v is not None and math.isfinite(v)]


def _mean(changes: Sequence[Change], name: str) -> Estimate:
    return interval.mean_of(_column(changes, name), "ms", "changes of harmony")


def _median(changes: Sequence[Change], name: str, unit: str) -> Estimate:
    return interval.median_of(_column(changes, name), unit, "changes of harmony")


def _changes(
    heard: Heard,
    regions: Sequence[Region],
    lifts: Sequence[Lift],
    damper: Damper,
    ringing: Ringing,
) -> tuple[tuple[Change, ...], set[Lift]]:
    out, used = [], set[Lift]()
    for k in range(1, len(regions)):
        old, new = regions[k - 1], regions[k]
        if not new.follows or old.run != new.run:
            continue
        later = regions[k + 1].bass_s if k + 1 < len(regions) else math.inf
        lift = _lift_near(lifts, old.bass_s, new.bass_s, later)
        if lift is not None:
            used.add(lift)
        out.append(_change(heard, old, new, lift, damper, ringing))
    return tuple(out), used


def _lift_near(
    lifts: Sequence[Lift], before_s: float, bass_s: float, after_s: float
) -> Lift | None:
    """The lift nearest to the new bass, no nearer to the change before or after."""
    low = bass_s - min(BEFORE_S, (bass_s - before_s) / 2)
    high = bass_s + min(AFTER_S, (after_s - bass_s) / 2)
    near = [x for x in lifts if low <= x.lift_s <= high]
    return min(near, key=lambda x: abs(x.lift_s - bass_s), default=None)


def _change(
    heard: Heard,
    old: Region,
    new: Region,
    lift: Lift | None,
    damper: Damper,
    ringing: Ringing,
) -> Change:
    bar = heard.arrangement.bar_at(new.from_q + 1e-9)
    lift_ms = None if lift is None else (lift.lift_s - new.bass_s) * 1000
    caught = lift is not None and math.isfinite(lift.catch_s) and lift.catch_s < new.to_s
    catch_ms = (lift.catch_s - new.bass_s) * 1000 if lift is not None and caught else None
    chord_ms = (new.chord_s - new.bass_s) * 1000
    up_ms = None if lift_ms is None or catch_ms is None else catch_ms - lift_ms
    down = float(damper.value_at(new.bass_s - 0.02)) >= 64 or lift is not None
    return Change(
        bar.number,
        bar.time,
        (new.from_q - float(bar.onset_q - bar.lead_q)) * bar.beat_unit / 4 + 1,
        kind_of(lift_ms, catch_ms, up_ms) if down else "dry",
        lift_ms,
        catch_ms,
        None if lift_ms is None else lift_ms - chord_ms,
        None if catch_ms is None else catch_ms - chord_ms,
        up_ms,
        _old_under_new(old, new, ringing, 1.0),
        _old_under_new(old, new, ringing, 2.0),
        _old_under_new(old, new, ringing, 0.5),
        _gap_ms(new, ringing),
    )


def kind_of(lift_ms: float | None, catch_ms: float | None, up_ms: float | None) -> str:
    """What a change is called, from lift and catch after the new bass (see `Change.kind`)."""
    if lift_ms is None:
        return "missed"
    if lift_ms > LATE_LIFT_MS:
        return "late"
    if catch_ms is not None and catch_ms <= 0:
        return "kept"
    if up_ms is None or up_ms > GAP_UP_MS:
        return "gap"
    assert catch_ms is not None
    clean = CLEAN_LIFT_MS[0] <= lift_ms <= CLEAN_LIFT_MS[1]
    clean &= CLEAN_CATCH_MS[0] <= catch_ms <= CLEAN_CATCH_MS[1]
    return "clean" if clean else "other"


def _old_under_new(old: Region, new: Region, ringing: Ringing, speed: float) -> float:
    """Foreign notes begun before the new harmony, under the notes begun since."""
    at = min(new.bass_s + BLUR_AFTER_S, max(new.to_s, new.bass_s + 0.05))
    begun = ringing.onset_s
    before = np.flatnonzero((begun < new.from_s - 0.001) & (begun >= old.from_s - 10.0))
    foreign = before[[int(p) % 12 not in new.classes for p in ringing.pitch[before]]]
    since = np.flatnonzero((begun >= new.from_s - 0.001) & (begun <= at))
    return under_db(
        together_db(ringing.levels_db(foreign, at, speed)),
        together_db(ringing.levels_db(since, at, speed)),
    )


def _gap_ms(new: Region, ringing: Ringing) -> float:
    """Silence before the new harmony: from the last damping of what sounded to its first note."""
    before = ringing.release_s[ringing.onset_s < new.from_s - 0.001]
    if not len(before):
        return 0.0
    # What is let go later is damped no earlier, so that the last to be let go is the last to end.
    ends = ringing.damper.held_until(min(float(before.max()), 1e9))
    return max(0.0, (new.from_s - ends) * 1000.0)


def _half_changes(damper: Damper) -> int:
    """Dips from above 100 to below 80 and back that never crossed the lower threshold."""
    count, high, low = 0, False, 127.0
    for v in damper.value.tolist():
        if v >= 100:
            count += high and 58 <= low < 80
            high, low = True, 127.0
        else:
            low = min(low, v)
    return count


def _leaks(
    heard: Heard,
    moments: Moments,
    regions: Sequence[Region],
    lifts: Sequence[Lift],
    used: set[Lift],
) -> tuple[Leak, ...]:
    """Lifts that belong to no change and are caught again inside the same harmony.

    Where the page marks pedals, only those inside a marked one.
    """
    out = []
    marked = marked_pedals(heard.arrangement)
    for lift in lifts:
        region = next((r for r in regions if r.bass_s <= lift.lift_s < r.to_s), None)
        if region is None or lift in used or lift.catch_s >= region.to_s:
            continue
        q = _score_place(moments, region.run, lift.lift_s)
        if marked and not any(down_q <= q < up_q for down_q, up_q in marked):
            continue
        bar = heard.arrangement.bar_at(q)
        beat = (q - float(bar.onset_q - bar.lead_q)) * bar.beat_unit / 4 + 1
        up = (lift.catch_s - lift.lift_s) * 1000
        out.append(Leak(bar.number, bar.time, beat, up, lift.lowest))
    return tuple(out)


def _score_place(moments: Moments, run: int, time_s: float) -> float:
    at = moments.run == run
    times = np.maximum.accumulate(moments.time_s[at])
    return float(np.interp(time_s, times, moments.onset_q[at]))


def _shares(
    heard: Heard, moments: Moments, damper: Damper, ringing: Ringing
) -> tuple[bool, Estimate, Estimate]:
    """Share of time down, and half down; the pieces of the jackknife are pedals or bars."""
    marked, pieces = _asked_for(heard)
    total: list[float] = []
    down: list[float] = []
    half: list[float] = []
    for run in long_runs(moments):
        edges = play_time_s(heard, moments, int(run), np.array(pieces).reshape(-1))
        edges = edges.reshape(-1, 2)
        edges = edges[np.isfinite(edges).all(axis=1)]
        total.extend((edges[:, 1] - edges[:, 0]).tolist())
        down.extend(damper.down_s(edges[:, 0], edges[:, 1]).tolist())
        half.extend(
            damper.between_s(edges[:, 0], edges[:, 1], ringing.bite, ringing.clear).tolist()
        )
    what = "marked pedals" if marked else "bars"
    return (
        marked,
        interval.ratio_of(down, total, "share", what),
        interval.ratio_of(half, total, "share", what),
    )


def _asked_for(heard: Heard) -> tuple[bool, list[tuple[float, float]]]:
    """[from, to) quarters of each marked pedal in the span; of each bar where none is marked."""
    low, high = (float(q) for q in heard.span.quarters(heard.arrangement))
    marked = marked_pedals(heard.arrangement)
    spans = [(max(low, down_q), min(high, up_q)) for down_q, up_q in marked]
    spans = [s for s in spans if s[0] < s[1]]
    if len(spans) >= 3:
        return True, spans
    bars = heard.arrangement.bars[heard.span.from_bar : heard.span.to_bar + 1]
    edges = [(float(b.onset_q), float(b.onset_q + b.duration_q)) for b in bars]
    if not spans:
        return False, edges
    # One long pedal: its bars are the pieces.
    cut = [(max(a, c), min(b, d)) for a, b in spans for c, d in edges]
    return True, [c for c in cut if c[0] < c[1]]
