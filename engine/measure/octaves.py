"""Octaves and chords: do they speak together, once what loudness does is taken off?

Split = onset of the lower note minus onset of the upper (positive: the upper first). A louder
note of an octave speaks earlier: on hammer pianos by about 0.8 ms for each velocity step
(r = 0.57 over 48,510 right-hand octaves of (n)ASAP, counted for this project; Goebl 2001, J
Acoust Soc Am 110:563-572, for the cause). Togetherness is judged on what is left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from engine.arrangement import Hand
from engine.findings import Estimate, no_estimate
from engine.measure import interval
from engine.measure.heard import Heard, Indices, Numbers
from engine.measure.instrument import Instrument, Slope, in_db, slope_for, without_loudness
from engine.measure.yardsticks import HAMMER_SPLIT_MS_PER_VELOCITY

LEAST_OCTAVES = 6
_NONE = "no octaves in what was asked for"
#: From low to high by more than this for each note after the first is a roll, not a fault.
ROLLED_MS = 60.0
#: The upper first by more than this: the two were not meant together (or are mistaken for a pair).
APART_MS = 200.0
#: Median |residual| up to which octaves are called so (our choice, from the percentiles).
TOGETHER = ((10.0, "together"), (20.0, "normal"), (30.0, "loose"), (np.inf, "heard as split"))


@dataclass(frozen=True, slots=True)
class HalfMissed:
    """An octave of which one note did not speak: where, and which."""

    bar: str
    bar_time: int
    beat: float
    hand: Hand
    missed: str


@dataclass(frozen=True, slots=True)
class ChordSpread:
    """The chords of one size in one hand, medians.

    Attributes:
        spread_ms: from the first note to the last.
        split_ms: the lowest note's onset minus the highest's; positive: the highest first.
    """

    hand: Hand
    notes: int
    spread_ms: Estimate
    split_ms: Estimate


@dataclass(frozen=True, slots=True)
class Octaves:
    """How the octaves spoke.

    Attributes:
        octaves: how many were played whole and together. rolled: left out as rolled.
        split_ms: mean split; median_split_ms: its median.
        median_abs_split_ms, p95_abs_split_ms: of |split|, before loudness is taken off.
        ms_per_velocity: slope of split on (upper minus lower velocity) in this pass.
        slope_used, slope_source: what was taken off, ms for each velocity step, and whose it is.
        residual_ms: mean split less the loudness part. residual_sd_ms: its SD (n - 2, as about
            a fitted line).
        median_abs_residual_ms: what togetherness is judged by.
        level_velocity: upper minus lower. level_db: the same by the instrument's dB for each
            step, approximate; only once the instrument is calibrated.
        faster_ms_per_halving: how the |residual| changes when the time to the next octave halves.
        half_missed: octaves of which one note is missing. chords: spread of other chords.
        words: together, normal, loose, heard as split.
    """

    octaves: int
    rolled: int
    split_ms: Estimate
    median_split_ms: Estimate
    median_abs_split_ms: Estimate
    p95_abs_split_ms: Estimate
    ms_per_velocity: Estimate
    slope_used: float
    slope_source: str
    residual_ms: Estimate
    residual_sd_ms: Estimate
    median_abs_residual_ms: Estimate
    level_velocity: Estimate
    level_db: Estimate
    faster_ms_per_halving: Estimate
    half_missed: tuple[HalfMissed, ...]
    chords: tuple[ChordSpread, ...]
    words: str


@dataclass(frozen=True, eq=False)
class _Pairs:
    """Octaves as rows of `Heard`: lower, upper, both shape (n, )."""

    lower: Indices
    upper: Indices
    split_ms: Numbers
    louder: Numbers
    onset_s: Numbers


def measure_octaves(heard: Heard, instrument: Instrument | None = None) -> Octaves | Estimate:
    """Togetherness of the octaves of a span; a reason where it has too few."""
    wanted = octave_pairs(heard)
    rows = heard.rows(wanted)
    whole = (rows >= 0).all(axis=1)
    pairs, rolled = _played(heard, rows[whole])
    if len(pairs.split_ms) < LEAST_OCTAVES:
        n = len(pairs.split_ms)
        reason = f"too few whole octaves: {n}, at least {LEAST_OCTAVES}"
        missed = _half_missed(heard, wanted[~whole], rows[~whole])
        return _chords_only(heard, reason if len(wanted) else _NONE, n, rolled, missed)
    own = _slope(pairs)
    slope = slope_for(instrument, own, HAMMER_SPLIT_MS_PER_VELOCITY)
    missed = _half_missed(heard, wanted[~whole], rows[~whole])
    return _told(heard, pairs, rolled, own, slope, missed, instrument)


def _chords_only(
    heard: Heard, reason: str, n: int, rolled: int, missed: tuple[HalfMissed, ...]
) -> Octaves | Estimate:
    """Chords where there are too few octaves to judge; the reason alone where there are none."""
    chords = measure_chords(heard)
    if not chords:
        return no_estimate(reason, n=n)
    ms, steps, db = (no_estimate(reason, unit, n) for unit in ("ms", "velocity", "db"))
    return Octaves(
        n, rolled, ms, ms, ms, ms, ms, HAMMER_SPLIT_MS_PER_VELOCITY, "", ms, ms, ms, steps, db,
        ms, missed, chords, "",
    )  # fmt: skip


def _slope(pairs: _Pairs) -> Estimate:
    return interval.slope_of(pairs.louder, pairs.split_ms, "ms", "octaves")


def own_slope(heard: Heard) -> Estimate:
    """Slope of split on loudness over the octaves of a span."""
    rows = heard.rows(octave_pairs(heard))
    return _slope(_played(heard, rows[(rows >= 0).all(axis=1)])[0])


def _told(
    heard: Heard,
    pairs: _Pairs,
    rolled: int,
    own: Estimate,
    slope: Slope,
    missed: tuple[HalfMissed, ...],
    instrument: Instrument | None,
) -> Octaves:
    residual = pairs.split_ms - slope.ms_per_velocity * pairs.louder
    n = len(residual)
    typical = interval.median_of(np.abs(residual), "ms", "octaves")
    middle = float(np.median(np.abs(residual)))
    louder = interval.serial_mean_of(pairs.louder, "velocity", "octaves")
    return Octaves(
        octaves=n,
        rolled=rolled,
        split_ms=interval.serial_mean_of(pairs.split_ms, "ms", "octaves"),
        median_split_ms=interval.median_of(pairs.split_ms, "ms", "octaves"),
        median_abs_split_ms=interval.median_of(np.abs(pairs.split_ms), "ms", "octaves"),
        p95_abs_split_ms=interval.quantile_of(np.abs(pairs.split_ms), 0.95, "ms", "octaves"),
        ms_per_velocity=own,
        slope_used=slope.ms_per_velocity,
        slope_source=slope.source,
        residual_ms=without_loudness(pairs.split_ms, pairs.louder, slope, "octaves"),
        residual_sd_ms=interval.scaled(
            interval.sd_of(residual, "ms", "octaves"), math.sqrt((n - 1) / (n - 2))
        ),
        median_abs_residual_ms=typical,
        level_velocity=louder,
        level_db=in_db(louder, instrument),
        faster_ms_per_halving=_by_speed(pairs, residual),
        half_missed=missed,
        chords=measure_chords(heard),
        words=next(w for top, w in TOGETHER if middle < top),
    )


def octave_pairs(heard: Heard) -> Indices:
    """(lower, upper) score notes of every octave to be played, shape (n, 2).

    The doublings of the form, and every two notes of one hand an octave apart at one onset with
    nothing of that hand between them. Graces, ornaments and arpeggiated notes are left out.
    """
    table = heard.arrangement.table
    expected = set(heard.expected.tolist())
    stands = heard.stands
    pairs = {
        (int(stands[a]), int(stands[b])) if table["pitch"][a] < table["pitch"][b]
        else (int(stands[b]), int(stands[a]))
        for a, b in heard.arrangement.form.doublings
    }  # fmt: skip
    pairs |= _octaves_at_once(heard)
    plain = (table["grace"] == 0) & (table["ornament"] == 0) & (table["arpeggiated"] == 0)
    kept = sorted(p for p in pairs if expected.issuperset(p) and plain[list(p)].all())
    return np.array(kept, dtype=np.intp).reshape(-1, 2)


def _octaves_at_once(heard: Heard) -> set[tuple[int, int]]:
    table = heard.arrangement.table
    notes = heard.expected
    rows = table[notes]
    order = notes[np.lexsort((rows["pitch"], rows["onset_q"], rows["hand"]))]
    rows = table[order]
    near = (
        (np.diff(rows["hand"]) == 0)
        & (np.abs(np.diff(rows["onset_q"])) < 1e-9)
        & (np.diff(rows["pitch"]) == 12)
    )
    return {(int(order[i]), int(order[i + 1])) for i in np.flatnonzero(near)}


def _played(heard: Heard, rows: Indices) -> tuple[_Pairs, int]:
    lower, upper = rows[:, 0], rows[:, 1]
    split = (heard.onset_s[lower] - heard.onset_s[upper]) * 1000.0
    rolled = split < -ROLLED_MS
    order = np.flatnonzero(~rolled & (split < APART_MS))
    order = order[np.argsort(heard.onset_s[lower[order]], kind="stable")]
    lower, upper = lower[order], upper[order]
    return (
        _Pairs(
            lower,
            upper,
            split[order],
            heard.velocity[upper] - heard.velocity[lower],
            np.minimum(heard.onset_s[lower], heard.onset_s[upper]),
        ),
        int(rolled.sum()),
    )


def _by_speed(pairs: _Pairs, residual: Numbers) -> Estimate:
    """Slope of |residual| on log2 of the speed (1 / time to the octave after)."""
    gap = np.diff(pairs.onset_s)
    usable = (gap > 0.03) & (gap < 3.0)
    if usable.sum() < 12 or np.ptp(np.log2(gap[usable])) < 0.5:
        return no_estimate("the octaves were all about equally fast", "ms", int(usable.sum()))
    return interval.slope_of(-np.log2(gap[usable]), np.abs(residual[:-1][usable]), "ms", "octaves")


def _half_missed(heard: Heard, broken: Indices, rows: Indices) -> tuple[HalfMissed, ...]:
    out = []
    for pair, row in zip(broken, rows, strict=True):
        if (row >= 0).any():
            note = heard.arrangement.notes[int(pair[0])]
            bar = heard.arrangement.bars[note.bar]
            which = "lower" if row[0] < 0 else "upper"
            beat = float(bar.beat_at(note.onset_q))
            out.append(HalfMissed(bar.number, bar.time, beat, note.hand, which))
    return tuple(out)


def measure_chords(heard: Heard) -> tuple[ChordSpread, ...]:
    """Spread of every chord of two or more notes in one hand, by hand and size, rolls left out."""
    table = heard.arrangement.table
    plain = (table["grace"] == 0) & (table["ornament"] == 0) & (table["arpeggiated"] == 0)
    notes = heard.expected[plain[heard.expected]]
    rows = heard.rows(notes)
    notes, rows = notes[rows >= 0], rows[rows >= 0]
    spreads: dict[tuple[int, int], list[tuple[float, float]]] = {}
    key = np.stack([table["hand"][notes], table["onset_q"][notes]], axis=1)
    _, group = np.unique(key, axis=0, return_inverse=True)
    group = np.asarray(group).reshape(-1)
    for members in np.split(np.argsort(group, kind="stable"), np.cumsum(np.bincount(group))[:-1]):
        if len(members) >= 2:
            at = heard.onset_s[rows[members]][np.argsort(table["pitch"][notes[members]])]
            spread = float(np.ptp(at)) * 1000.0
            hand = int(table["hand"][notes[members[0]]])
            rolled = spread > ROLLED_MS * (len(members) - 1) and (np.diff(at) > 0).all()
            if not rolled:
                split = float(at[0] - at[-1]) * 1000.0
                spreads.setdefault((hand, len(members)), []).append((spread, split))
    return tuple(
        ChordSpread(
            "right" if h else "left",
            size,
            *(interval.median_of(column, "ms", "chords") for column in zip(*values, strict=True)),
        )
        for (h, size), values in sorted(spreads.items())
    )
