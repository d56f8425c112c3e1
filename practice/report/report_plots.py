"""A pass as plots: tempo curve, wheel of the figure, pedal strip."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from engine.arrangement import Arrangement, Bar
from engine.measure.evenness import Evenness
from engine.measure.pedal import Pedal
from engine.measure.timing import Timing
from engine.performance import DAMPER
from engine.review import PassReview
from practice.progress.canvas import INK, Canvas, make_figure
from practice.progress.progress_plots import FAINT, Plot


def draw_report(
    arrangement: Arrangement, one: PassReview, canvas: Canvas = make_figure
) -> Iterator[Plot]:
    """The plots that a pass allows."""
    timing, evenness, pedal = one.measures.timing, one.measures.evenness, one.measures.pedal
    if isinstance(timing, Timing) and len(timing.tempo_curve) > 1:
        yield _plot_tempo(arrangement, timing, canvas)
    if isinstance(evenness, Evenness) and evenness.places:
        yield _plot_wheel(evenness, canvas)
    if one.pedals:
        yield _plot_pedal(arrangement, one, pedal if isinstance(pedal, Pedal) else None, canvas)


def _plot_tempo(arrangement: Arrangement, timing: Timing, canvas: Canvas) -> Plot:
    """The tempo of each bar against the mark; hesitations by their length."""
    figure, (ax,) = canvas(2.1)
    points = timing.tempo_curve
    at = range(len(points))
    ax.plot(
        at, [100 * p.mark_share for p in points], "-o", color=INK, markersize=2.5, linewidth=0.9
    )
    ax.axhline(100, color=FAINT, linewidth=0.7)
    index = {(p.bar, p.bar_time): k for k, p in enumerate(points)}
    low, _ = ax.get_ylim()
    for halt in timing.hesitations:
        if (halt.bar, halt.bar_time) in index:
            k = index[halt.bar, halt.bar_time]
            ax.annotate(f"{halt.beats:.1f} beats", (k, low), fontsize=6, rotation=90)
            ax.axvline(k, color=FAINT, linestyle=":", linewidth=0.8)
    step = max(len(points) // 16, 1)
    ax.set_xticks(list(at)[::step], [p.bar for p in points][::step])
    ax.set_xlabel("bar")
    ax.set_ylabel("% of the mark")
    tempo = timing.tempo_qpm
    words = f"Tempo bar by bar, {_count(len(timing.hesitations), 'hesitation')}"
    words += f"; {tempo.value:.0f} quarters a minute over all." if tempo.value else "."
    return Plot("tempo", "Tempo", words, figure)


def _plot_wheel(evenness: Evenness, canvas: Canvas) -> Plot:
    """One turn is one cell; each place where it really falls, further out the louder."""
    figure, (ax,) = canvas(2.9, projection="polar")
    ax.set_theta_zero_location("N")
    ax.set_theta_direction(-1)
    count, step_ms = evenness.cell_places, evenness.note_interval_ms
    for place in evenness.places:
        due = 2 * math.pi * (place.place - 1) / count
        late = place.deviation_ms
        ax.plot([due, due], [0, 127], color="#d5dde0", linewidth=0.8)
        if late.value is None or place.velocity.value is None:
            continue
        angle = due + 2 * math.pi * late.value / step_ms / count
        ax.plot(angle, place.velocity.value, "o", color=INK, markersize=5)
        if late.low is not None and late.high is not None:
            ends = [due + 2 * math.pi * v / step_ms / count for v in (late.low, late.high)]
            arc = np.linspace(ends[0], ends[1], 12)
            ax.plot(arc, [place.velocity.value] * len(arc), color=INK, linewidth=1.2)
    ax.set_xticks([2 * math.pi * k / count for k in range(count)], range(1, count + 1))
    ax.set_yticks([40, 80, 120], [""] * 3)
    ax.set_ylim(0, 127)
    said = ", ".join(
        f"{p.place}: {round(p.deviation_ms.value)} ms"
        for p in evenness.places
        if p.deviation_ms.value is not None
    )
    words = f"The figure place by place, positive late: {said}. Further out is louder."
    return Plot("wheel", "Wheel", words, figure)


def _plot_pedal(
    arrangement: Arrangement, one: PassReview, pedal: Pedal | None, canvas: Canvas
) -> Plot:
    """The damper as pressed, with changes of harmony and what was found at each place."""
    figure, (ax,) = canvas(1.7)
    moves = [m for m in one.pedals if m.controller == DAMPER]
    start_s = one.notes[0].onset_s
    end_s = max(one.notes[-1].onset_s, moves[-1].time_s if moves else 0.0)
    at = [start_s, *(m.time_s for m in moves), end_s]
    values = [0, *(m.value for m in moves), moves[-1].value if moves else 0]
    ax.fill_between([s - start_s for s in at], values, step="post", color="#b3c1c7", linewidth=0)
    ax.set_ylim(0, 200)
    ax.set_yticks([0, 64, 127], ["up", "", "down"])
    ax.set_xlabel("seconds")
    said = ["no changes of harmony were told"]
    if pedal is not None:
        places = _place_marks(arrangement, one, pedal)
        for second, label in places:
            ax.axvline(second - start_s, ymax=0.66, color=INK, linewidth=0.6)
            ax.text(second - start_s, 132, label, rotation=60, fontsize=6, ha="left", va="bottom")
        said = [
            f"{_count(len(pedal.changes), 'change')} of harmony",
            _count(len(pedal.leaks), "leak"), _count(len(pedal.smears), "smear"),
        ]  # fmt: skip
    return Plot("pedal", "Pedal", f"The damper as it was pressed: {', '.join(said)}.", figure)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _bar_with(arrangement: Arrangement, number: str, time: int, beat: float) -> Bar | None:
    """The bar of a number that has a beat; both pieces of a bar cut by a repeat bear its number."""
    same = [b for b in arrangement.bars if (b.number, b.time) == (number, time)]
    begun = [b for b in same if beat >= b.beat_at(b.onset_q)]
    return begun[-1] if begun else next(iter(same), None)


def _place_marks(
    arrangement: Arrangement, one: PassReview, pedal: Pedal
) -> list[tuple[float, str]]:
    """(second, what) for every change that is not clean, leak and smear."""
    told: list[tuple[str, int, float, str]] = [
        (c.bar, c.bar_time, c.beat, c.kind) for c in pedal.changes
    ]
    told += [(leak.bar, leak.bar_time, leak.beat, "leak") for leak in pedal.leaks]
    told += [(s.bar, s.bar_time, s.beat, "smear") for s in pedal.smears]
    right = sorted(
        (float(arrangement.notes[f.score].onset_q), one.notes[f.played].onset_s)
        for f in one.findings
        if f.what == "right" and f.score is not None and f.played is not None
    )
    if not right:
        return []
    q, s = np.array(right).T
    out = []
    for number, time, beat, what in told:
        bar = _bar_with(arrangement, number, time, beat)
        if bar is not None:
            at_q = float(bar.onset_q - bar.lead_q) + (beat - 1) * 4 / bar.beat_unit
            out.append((float(np.interp(at_q, q, s)), what))
    return sorted(out)
