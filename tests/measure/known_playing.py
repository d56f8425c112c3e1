"""Playing with known truth: a page in the project's texture, and every quantity set by hand.

It knows the page and a handful of numbers, and nothing of the code that measures. Each
`Known` is drawn from a seed; `truths` are what the estimates should cover, most in closed form, a
few (robust SD, medians) by a large fixed draw from the same distributions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

import numpy as np

from engine.arrangement import Arrangement, Harmony, PedalSpan
from engine.findings import Finding
from engine.performance import DAMPER, PedalMove, PlayedNote, Pulse
from tests.measure.by_hand import figure_of, page, with_form

PLACES = 8
#: Two harmonies by turns; the figure walks up and down each.
FINGERINGS = ("53212123", "54212124")
CHORDS = ((43, 50, 55, 58, 62, 58, 55, 50), (41, 48, 53, 57, 60, 57, 53, 48))
TUNE = (67, 70, 74, 72, 70, 69, 67, 65)


@dataclass(frozen=True)
class Known:
    """Everything that is put in. All ms unless named otherwise; SDs are of normal draws.

    habit: of the eight places, taken about their mean. jitter: of each figure note.
    timekeeper, finger: Wing & Kristofferson's two. drift: percent a minute faster.
    bar_tempo_sd: share by which each bar's tempo is off, drawn anew. rubato: a slow wave in the
    tempo: its height (share) and its length (bars).
    split: of an octave at equal loudness. slope: ms for each velocity step the upper is louder.
    together_sd: of the split. lead, lead_sd: line before figure, at equal loudness.
    upper, lower, figure: velocities (mean, SD) of line, its copy below, and figure.
    lift, catch: after the new bass (mean, SD). click, click_sd, click_drift: asynchrony with the
    strict pulse, its SD, and its trend for each minute. right: chance of a right note.
    other_habit, other_jitter: of a second fingering, in the last third of every so many bars
    (turn); no places: there is none.
    """

    bars: int = 48
    interval: float = 150.0
    habit: tuple[float, ...] = (0.0, 0.0, 0.0, 12.0, 0.0, -3.0, 0.0, 0.0)
    jitter: float = 6.0
    timekeeper: float = 0.0
    finger: float = 0.0
    drift: float = 0.0
    bar_tempo_sd: float = 0.0
    rubato: tuple[float, float] = (0.0, 4.0)
    split: float = 3.0
    slope: float = 0.8
    together_sd: float = 8.0
    lead: float = 5.0
    lead_sd: float = 12.0
    upper: tuple[float, float] = (76.0, 5.0)
    lower: tuple[float, float] = (68.0, 4.0)
    figure: tuple[float, float] = (50.0, 4.0)
    lift: tuple[float, float] = (40.0, 25.0)
    catch: tuple[float, float] = (200.0, 35.0)
    click: float = 0.0
    click_sd: float = 0.0
    click_drift: float = 0.0
    right: float = 1.0
    other_habit: tuple[float, ...] = ()
    other_jitter: float = 0.0
    turn: int = 12
    pulse: Pulse = field(default_factory=Pulse)


@dataclass(frozen=True)
class Played:
    """A page and one playing of it."""

    arrangement: Arrangement
    notes: tuple[PlayedNote, ...]
    pedals: tuple[PedalMove, ...]
    findings: tuple[Finding, ...]
    pulse: Pulse


def fingered_otherwise(known: Known) -> np.ndarray:
    """Which bars go by the second fingering, shape (bars,)."""
    last_third = np.arange(known.bars) % known.turn >= known.turn * 2 // 3
    return last_third & bool(known.other_habit)


def _fingered(arrangement: Arrangement, known: Known) -> Arrangement:
    """The page with a finger over every figure note, where there are two fingerings."""
    if not known.other_habit:
        return arrangement
    which = fingered_otherwise(known)
    notes = list(arrangement.notes)
    for bar, cell in enumerate(arrangement.form.figures[0].occurrences):
        for i, finger in zip(cell, FINGERINGS[int(which[bar])], strict=True):
            notes[i] = replace(notes[i], fingering=finger)
    return replace(arrangement, notes=tuple(notes))


@lru_cache(maxsize=8)
def texture(bars: int, interval_ms: float) -> Arrangement:
    """Left hand: eight eighths a bar. Right hand: an octave every half bar. Harmony: two bars."""
    written = []
    for bar in range(bars):
        chord = CHORDS[bar // 2 % 2]
        written += [(4.0 * bar + k / 2, 0.5, chord[k], "left") for k in range(PLACES)]
        for half in range(2):
            pitch = TUNE[(2 * bar + half) % len(TUNE)]
            written += [(4.0 * bar + 2 * half, 2.0, pitch + o, "right") for o in (0, 12)]
    spans = [Fraction(8 * k) for k in range(bars // 2 + 1)]
    pedals = [PedalSpan(a, b) for a, b in pairwise(spans)]
    arrangement = page(written, qpm=30000.0 / interval_ms, bar_q=4, pedals=pedals)
    right = [i for i, n in enumerate(arrangement.notes) if n.hand == "right"]
    harmonies = tuple(
        Harmony(a, b, *(("G", "minor"), ("F", "major"))[k % 2])
        for k, (a, b) in enumerate(pairwise(spans))
    )
    return with_form(
        arrangement,
        figures=(figure_of(arrangement, "left", 4.0, PLACES),),
        line=tuple(right[1::2]),
        doublings=tuple(zip(right[1::2], right[::2], strict=True)),
        harmonies=harmonies,
    )


def play_known(known: Known, seed: int) -> Played:
    """One playing."""
    draw = np.random.default_rng(seed)
    arrangement = _fingered(texture(known.bars, known.interval), known)
    grid_ms = _grid(known, draw)
    left, upper, lower, loud = _onsets(known, grid_ms, draw)
    notes, findings = _notes(arrangement, known, (left, upper, lower), loud, draw)
    return Played(arrangement, notes, _pedals(known, left, draw), findings, known.pulse)


def _grid(known: Known, draw: np.random.Generator) -> np.ndarray:
    """Where the tempo puts each figure note, ms."""
    even = np.arange(known.bars * PLACES) * known.interval
    if known.drift:
        # The tempo grows exponentially in the time played: dt/dk = interval * exp(-rate * t).
        rate = known.drift / 100.0 / 60000.0
        even = np.log1p(rate * even) / rate
    grid = even
    if known.rubato[0]:
        height, length = known.rubato[0], known.rubato[1] * PLACES * known.interval
        wave = np.sin(2 * np.pi * even / length) / (2 * np.pi)
        grid = grid + height * length * wave
    if known.bar_tempo_sd:
        bars = 1.0 + draw.normal(0, known.bar_tempo_sd, known.bars)
        steps = np.repeat(bars, PLACES) * known.interval
        grid = np.concatenate([[0.0], np.cumsum(steps)[:-1]])
    return grid


def _onsets(known: Known, grid: np.ndarray, draw: np.random.Generator):
    n = len(grid)
    keeper = np.cumsum(draw.normal(0, known.timekeeper, n)) if known.timekeeper else 0.0
    habits, jitters = _by_bar(known)
    left = grid + habits + draw.normal(0, jitters, n) + keeper
    left = left + draw.normal(0, known.finger, n)
    left = left + known.click + draw.normal(0, known.click_sd, n) + known.click_drift * grid / 6e4
    beneath = left[::4]
    v_upper = _velocities(known.upper, len(beneath), draw)
    v_lower = _velocities(known.lower, len(beneath), draw)
    v_left = _velocities(known.figure, n, draw)
    louder = v_upper - v_left[::4]
    upper = (
        beneath - known.lead - known.slope * louder - draw.normal(0, known.lead_sd, len(beneath))
    )
    split = known.split + known.slope * (v_upper - v_lower)
    lower = upper + split + draw.normal(0, known.together_sd, len(beneath))
    return left, upper, lower, (v_left, v_upper, v_lower)


def _by_bar(known: Known) -> tuple[np.ndarray, np.ndarray]:
    """Habit and jitter of every figure note, by the fingering of its bar."""
    other = np.repeat(fingered_otherwise(known), PLACES)
    usual = np.tile(_centred(known.habit), known.bars)
    otherwise = np.tile(_centred(known.other_habit or known.habit), known.bars)
    return np.where(other, otherwise, usual), np.where(other, known.other_jitter, known.jitter)


def _centred(habit: tuple[float, ...]) -> np.ndarray:
    return np.array(habit) - np.mean(habit)


def _velocities(level: tuple[float, float], n: int, draw: np.random.Generator) -> np.ndarray:
    return np.clip(np.rint(draw.normal(*level, n)), 1, 127)


def _notes(arrangement, known, onsets, loud, draw):
    left = [i for i, n in enumerate(arrangement.notes) if n.hand == "left"]
    right = [i for i, n in enumerate(arrangement.notes) if n.hand == "right"]
    rows = [(t, v, i) for t, v, i in zip(onsets[0], loud[0], left, strict=True)]
    rows += list(zip(onsets[1], loud[1], right[1::2], strict=True))
    rows += list(zip(onsets[2], loud[2], right[::2], strict=True))
    rows.sort()
    notes, findings = [], []
    for t, v, i in rows:
        if draw.random() >= known.right:
            findings.append(Finding(None, i, "missing", final=True))
            continue
        held = (0.13 if arrangement.notes[i].hand == "left" else 0.5) * known.interval / 150.0
        onset = 1.0 + t / 1000.0
        index = len(notes)
        notes.append(PlayedNote(index, arrangement.notes[i].pitch, int(v), onset, onset + held))
        findings.append(Finding(index, i, "right", final=True))
    return tuple(notes), tuple(findings)


def _pedals(known: Known, left: np.ndarray, draw: np.random.Generator) -> tuple[PedalMove, ...]:
    down = 1.0 + (left[0] + draw.normal(*known.catch)) / 1000.0
    moves = [PedalMove(0.5, DAMPER, 0), PedalMove(down, DAMPER, 127)]
    for bass in left[2 * PLACES :: 2 * PLACES]:
        up = 1.0 + (bass + draw.normal(*known.lift)) / 1000.0
        down = 1.0 + (bass + draw.normal(*known.catch)) / 1000.0
        moves += [PedalMove(up, DAMPER, 0), PedalMove(max(down, up + 0.02), DAMPER, 127)]
    return tuple(moves)


def truths(known: Known) -> dict[str, float]:
    """What each estimate should cover, by "measure.field"."""
    habit = np.array(known.habit) - np.mean(known.habit)
    place, jitter2 = float((habit**2).mean()), known.jitter**2
    steps = np.diff(np.append(habit, habit[0]))
    even, cell_sd, audible = _by_draw(known)
    return {
        "evenness.sd_ms": math.sqrt(place + jitter2),
        "evenness.rest_sd_ms": known.jitter,
        "evenness.robust_sd_ms": even,
        "evenness.cv": math.sqrt(((steps**2).mean() + 2 * jitter2) * _mean_inverse_square(known)),
        "evenness.median_sd_ioi_ms": cell_sd,
        "evenness.audible_share": audible,
        "evenness.drift_percent_per_minute": known.drift,
        **_shares(known, place),
        **{f"evenness.places.{k}.deviation_ms": float(h) for k, h in enumerate(habit)},
        "octaves.split_ms": known.split + known.slope * (known.upper[0] - known.lower[0]),
        "octaves.ms_per_velocity": known.slope,
        "octaves.residual_ms": known.split,
        "octaves.residual_sd_ms": known.together_sd,
        "octaves.level_velocity": known.upper[0] - known.lower[0],
        "lead.lead_ms": known.lead + known.slope * (known.upper[0] - known.figure[0]),
        "lead.residual_ms": known.lead,
        "lead.loudness_part_ms": known.slope * (known.upper[0] - known.figure[0]),
        "balance.line_over_figure_velocity": known.upper[0] - known.figure[0],
        "pedal.lift_ms": known.lift[0],
        "pedal.catch_ms": known.catch[0],
        "pedal.median_lift_ms": known.lift[0],
        "pedal.up_ms": known.catch[0] - known.lift[0],
    }


def fingering_truths(known: Known) -> dict[str, float]:
    """The same of two fingerings: the measure is of the first, the second is told beside it."""
    first, second = (
        math.sqrt(float((_centred(habit) ** 2).mean()) + jitter**2)
        for habit, jitter in ((known.habit, known.jitter), (known.other_habit, known.other_jitter))
    )
    whole = ("sd_ms", "rest_sd_ms", "robust_sd_ms", "median_sd_ioi_ms", "deviation_ms")
    return {
        **{
            k: v for k, v in truths(known).items() if k.startswith("evenness") and k.endswith(whole)
        },
        "evenness.fingerings.0.sd_ms": first,
        "evenness.fingerings.1.sd_ms": second,
        "evenness.fingerings.1.difference_ms": second - first,
    }


def _mean_inverse_square(known: Known) -> float:
    return float((1.0 / np.diff(_grid(known, np.random.default_rng(0))) ** 2).mean())


def _shares(known: Known, place: float) -> dict[str, float]:
    grid = _grid(replace(known, bar_tempo_sd=0.0), np.random.default_rng(0))
    cells = grid.reshape(-1, PLACES)
    slope = np.diff(cells, axis=1).mean(axis=1)
    offsets = (np.arange(PLACES) - 3.5) * slope.mean()
    drift = float((offsets**2).mean() * ((slope / slope.mean() - 1) ** 2).mean())
    total = place + drift + known.jitter**2
    return {
        "evenness.place_share": place / total,
        "evenness.drift_share": drift / total,
        "evenness.rest_share": known.jitter**2 / total,
    }


@lru_cache(maxsize=32)
def _by_draw(known: Known) -> tuple[float, float, float]:
    """Robust SD, median cell SD and audible share, by a million notes of this habit and jitter."""
    draw = np.random.default_rng(987654321)
    habit = np.array(known.habit) - np.mean(known.habit)
    x = np.tile(habit, 125_000) + draw.normal(0, known.jitter, 1_000_000)
    robust = 1.4826 * np.median(np.abs(x - np.median(x)))
    cells = np.diff(x.reshape(-1, PLACES), axis=1).std(axis=1, ddof=1)
    least = max(6.0, 0.025 * known.interval)
    return float(robust), float(np.median(cells)), float((np.abs(np.diff(x)) > least).mean())
