"""Draws the pictures of `engine/measure/README.md`: `python -m tests.measure.pictures [FOLDER]`.

Everything shown is measured by the engine on playings with known truth
(`tests.measure.known_playing`); the folder is `assets/measures` where none is given.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import matplotlib as mpl

mpl.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes

from engine.arrangement import whole_span
from engine.findings import Estimate, Finding
from engine.measure import Measures, measure
from engine.measure.cells import gather_cells
from engine.measure.change import Session, compare_sessions
from engine.measure.even_fit import fit_even
from engine.measure.heard import hear
from engine.measure.instrument import octaves_struck
from engine.measure.pedal_state import damper_steps
from engine.measure.tempo import follow_tempo
from engine.performance import DAMPER, PedalMove, Pulse
from tests.conftest import ROOT
from tests.measure.by_hand import measured, page, play
from tests.measure.known_playing import Known, Played, play_known

INK, SOFT, MARK, LATE = "#22303c", "#9fb1bd", "#b5541c", "#2f6f73"


def all_of(played: Played) -> Measures:
    """Every measure of a playing."""
    return measure(
        played.arrangement, played.notes, played.pedals, played.findings,
        span=whole_span(played.arrangement), hands="both", pulse=played.pulse,
    )  # fmt: skip


def bar_of(ax: Axes, x: float, e: Estimate, **style: object) -> None:
    """A value with its interval."""
    if e.value is not None and e.low is not None and e.high is not None:
        ax.errorbar(x, e.value, [[e.value - e.low], [e.high - e.value]], capsize=4, **style)


def draw_notes(ax: Axes) -> None:
    """Right, wrong and missing by bar."""
    played = play_known(Known(bars=16, right=0.97), 4)
    wrong = {20, 61, 62}
    said = [Finding(f.played, None, "wrong", stands_for=f.score) if f.played in wrong else f
            for f in played.findings]  # fmt: skip
    found = all_of(replace(played, findings=tuple(said))).notes
    for bar in found.bars:
        x = int(bar.bar)
        ax.bar(x, bar.count.missing, color=SOFT, hatch="//", edgecolor=INK)
        ax.bar(x, bar.count.wrong, bottom=bar.count.missing, color=MARK, edgecolor=INK)
    ax.bar(0, 0, color=SOFT, hatch="//", edgecolor=INK, label="missing")
    ax.bar(0, 0, color=MARK, edgecolor=INK, label="wrong")
    share = found.right_share
    ax.set(xlim=(0.3, 16.7), xlabel="bar", ylabel="notes", xticks=range(1, 17), yticks=range(4),
           ylim=(0, 3.2),
           title=f"{100 * share.value:.1f} % right ({100 * share.low:.1f} to "
                 f"{100 * share.high:.1f}), {share.n} notes")  # fmt: skip
    ax.legend(frameon=False, loc="upper left")


def draw_timing(ax: Axes) -> None:
    """Two passes against the click: steadily ahead, and rushing."""
    for shift, trend, colour, sign in ((-18, 0, LATE, "o"), (0, -180, MARK, "x")):
        known = Known(bars=24, click=shift, click_drift=trend, click_sd=9.0, lead=0, slope=0,
                      pulse=Pulse("strict", 1.0))  # fmt: skip
        played = play_known(known, 1)
        heard = hear(played.arrangement, played.notes, played.findings)
        moments = follow_tempo(heard)
        away = (moments.time_s - 1.0 - moments.mark_s) * 1000
        ax.plot(moments.time_s - 1, away, sign, ms=3, color=colour)
        timing = all_of(played).timing
        mean = f"{timing.asynchrony_ms.value:.0f}".replace("-", "\N{MINUS SIGN}")
        ax.plot([], [], sign, color=colour, label=f"mean {mean} ms: {timing.words}")
    ax.axhline(0, color=INK, lw=1)
    ax.set(xlabel="seconds", ylabel="ms after the click", ylim=(-170, 60))
    ax.legend(frameon=False, loc="lower left")


def draw_evenness(ax: Axes) -> None:
    """Deviation by place: every cell faint, the mean with its interval."""
    played = play_known(Known(bars=32), 2)
    heard = hear(played.arrangement, played.notes, played.findings)
    cells = gather_cells(heard, follow_tempo(heard), played.arrangement.form.figures[0])
    fit = fit_even(cells)
    spread = np.random.default_rng(0).uniform(-0.12, 0.12, fit.deviation_ms.shape)
    ax.plot(np.arange(1, 9) + spread, fit.deviation_ms, ".", ms=4, color=SOFT)
    found = all_of(played).evenness
    for place in found.places:
        late = place.deviation_ms.low > 6
        bar_of(ax, place.place, place.deviation_ms, color=MARK if late else INK, fmt="o")
    ax.axhline(0, color=INK, lw=1)
    ax.set(xlabel="place in the cell", ylabel="ms late", xticks=range(1, 9),
           title=f"SD {found.sd_ms.value:.1f} ms; {100 * found.place_share.value:.0f} % of "
                 "its variance is habit: place 4")  # fmt: skip


def draw_timekeeper(ax: Axes) -> None:
    """Two kinds of unevenness with the same SD of intervals."""
    rows = ((10.0, 4.0, "timekeeper"), (2.0, 8.5, "finger"))
    for k, (keeper, finger, name) in enumerate(rows):
        known = Known(bars=48, habit=(0.0,) * 8, jitter=0, timekeeper=keeper, finger=finger)
        found = all_of(play_known(known, 5)).evenness
        for j, e in enumerate((found.timekeeper_sd_ms, found.finger_sd_ms)):
            bar_of(ax, k + 0.2 * j, e, color=(INK, MARK)[j], fmt="os"[j])
        together = f"{found.lag1_correlation.value:.2f}".replace("-", "\N{MINUS SIGN}")
        ax.text(k + 0.1, 14.5, f"mostly {name}\nneighbours correlate by {together}",
                ha="center", va="top")  # fmt: skip
    ax.plot([], [], "o", color=INK, label="timekeeper")
    ax.plot([], [], "s", color=MARK, label="finger")
    ax.set(xlim=(-0.5, 1.9), ylim=(0, 15), xticks=[], ylabel="SD, ms")
    ax.legend(frameon=False, loc="center right")


def draw_octaves(ax: Axes) -> None:
    """Split against loudness, with the line that loudness alone explains."""
    played = play_known(Known(bars=48, upper=(76.0, 8.0)), 7)
    found = all_of(played).octaves
    hand = [n for n in played.notes if n.pitch >= 63]
    split, louder = octaves_struck(hand)
    ax.plot(louder, split, "o", ms=4, color=SOFT)
    x = np.array([min(louder), max(louder)])
    middle = found.split_ms.value - found.slope_used * found.level_velocity.value
    ax.plot(x, middle + found.slope_used * x, color=MARK, lw=2)
    ax.axhline(0, color=INK, lw=1)
    ax.set(xlabel="upper note louder by (velocity)", ylabel="split, ms (upper first)",
           title=f"mean split {found.split_ms.value:.0f} ms, but "
                 f"{found.slope_used:.2f} ms a step is loudness: {found.residual_ms.value:.0f} ms "
                 f"left, {found.words}")  # fmt: skip


def draw_lead(ax: Axes) -> None:
    """The lead and the part of it that voicing makes."""
    found = all_of(play_known(Known(bars=48), 8)).lead
    rows = (("lead", found.lead_ms), ("of it loudness", found.loudness_part_ms),
            ("left", found.residual_ms))  # fmt: skip
    for k, (_, e) in enumerate(rows):
        ax.barh(-k, e.value, color=(INK, SOFT, MARK)[k], height=0.55)
        ax.errorbar(e.value, -k, xerr=[[e.value - e.low], [e.high - e.value]], color="black",
                    capsize=4)  # fmt: skip
    ax.set(yticks=[0, -1, -2], yticklabels=[r[0] for r in rows], xlabel="ms, the line first")


def draw_pedal(ax: Axes) -> None:
    """The damper under its harmonies: two clean changes, a late one, and a leak."""
    played = play_known(Known(bars=10, lift=(40, 0), catch=(190, 0)), 3)
    moves = [m for m in played.pedals if m.time_s < 10.5]
    moves += [PedalMove(6.9, DAMPER, 20), PedalMove(7.05, DAMPER, 127)]
    moves += [PedalMove(t, DAMPER, v) for t, v in ((10.93, 0), (11.05, 127))]
    moves.sort(key=lambda m: m.time_s)
    found = all_of(replace(played, pedals=tuple(moves))).pedal
    damper = damper_steps(moves)
    t = np.arange(1.0, 12.5, 0.005)
    ax.fill_between(t, damper.value_at(t), step="post", color=SOFT)
    for k, change in enumerate(found.changes):
        x = 1 + 2.4 * (k + 1)
        ax.axvline(x, color=INK, lw=1)
        told = "" if change.lift_ms is None else f"\nlifted {change.lift_ms:+.0f} ms"
        ax.text(x + 0.05, 131, f"{change.kind}{told}\nold {change.old_under_new_db:.0f} dB under",
                va="bottom", fontsize=9)  # fmt: skip
    for _ in found.leaks:
        ax.annotate("leak", (6.97, 60), (7.3, 50), arrowprops={"arrowstyle": "->"}, color=MARK)
    ax.set(xlabel="seconds", ylabel="damper", ylim=(0, 190), yticks=[0, 64, 127], xlim=(1, 12.5))


def draw_balance(ax: Axes) -> None:
    """Loudness of line and figure."""
    played = play_known(Known(bars=24), 11)
    line = set(played.arrangement.form.line)
    left = [f for f in played.findings if played.arrangement.notes[f.score].hand == "left"]
    tune = [f for f in played.findings if f.score in line]
    for these, colour, sign, name in ((left, SOFT, ".", "figure"), (tune, MARK, "^", "line")):
        at = [played.notes[f.played].onset_s - 1 for f in these]
        loud = [played.notes[f.played].velocity for f in these]
        ax.plot(at, loud, sign, ms=5, color=colour, label=name)
    found = all_of(played).balance
    for level, colour in ((found.figure_velocity.value, INK), (found.line_velocity.value, MARK)):
        ax.axhline(level, color=colour, lw=1)
    over = found.line_over_figure_velocity
    ax.set(
        xlabel="seconds",
        ylabel="velocity",
        ylim=(30, 100),
        title=f"line over figure: {over.value:.0f} steps ({over.low:.0f} to {over.high:.0f})",
    )
    ax.legend(frameon=False, loc="upper right")


def draw_form(ax: Axes) -> None:
    """Bars played, a repeat not taken, and the last note."""
    arrangement = page([(float(i), 1.0, 60 + i % 5, "right") for i in range(60)])
    bars = tuple(replace(b, time=2, number=str(b.index - 3)) if 8 <= b.index < 12 else b
                 for b in arrangement.bars)  # fmt: skip
    arrangement = replace(arrangement, bars=bars)
    notes, findings = play(arrangement)
    kept = [f for f in findings if not 8 <= arrangement.notes[f.score].bar < 12]
    found = measured(arrangement, notes, kept).form
    missing = set(found.left_out)
    for b in bars:
        name = b.number if b.time == 1 else f"{b.number}@{b.time}"
        gone = name in missing
        ax.bar(b.index, 1, width=0.9, color="white" if gone else SOFT, edgecolor=INK,
               linestyle="--" if gone else "-")  # fmt: skip
        ax.text(b.index, 0.5, name, ha="center", va="center", fontsize=9)
    ax.text(14.7, 0.5, f"last note held\n{100 * found.last_note.held_share:.0f} % of its length",
            va="center")  # fmt: skip
    ax.set(xlim=(-0.6, 18.5), ylim=(0, 1.1), yticks=[], xticks=[],
           title=f"{found.bars_played} of {found.bars_asked} bars; repeat not taken")  # fmt: skip


def draw_change(ax: Axes) -> None:
    """Sessions before and after, and what may be said of them."""
    draw = np.random.default_rng(2)
    spans = (("too early to say", (14, 13, 15.2), (12.1, 13.5, 11.8)),
             ("better", (14, 13, 15.2, 14.4, 13.6), (11.5, 12.1, 10.9, 11.8, 11.2)))  # fmt: skip
    for k, (_, before, after) in enumerate(spans):
        groups = [[Session("mine", tuple(draw.normal(m, 0.8, 5))) for m in g]
                  for g in (before, after)]  # fmt: skip
        found = compare_sessions(*groups, "lower")
        x = 8 * k
        for j, group in enumerate(groups):
            for session in group:
                x += 0.7
                ax.plot([x] * 5, session.values, "os"[j], ms=3.5, color=(SOFT, MARK)[j])
                ax.plot(x, np.mean(session.values), "_", ms=12, color=INK)
            ax.text(x - 0.7, 8.4, ("before", "after")[j], ha="center")
            x += 0.5
        chance = "" if found.p_value is None else f", p = {found.p_value:.3f}"
        ax.text(8 * k + 0.6, 17.2, f"{found.verdict}{chance}", color=INK)
    ax.set(xlabel="sessions", ylabel="SD, ms", xticks=[], ylim=(8, 18))


PICTURES: dict[str, Callable[[Axes], None]] = {
    "notes": draw_notes,
    "timing": draw_timing,
    "evenness": draw_evenness,
    "timekeeper": draw_timekeeper,
    "octaves": draw_octaves,
    "lead": draw_lead,
    "pedal": draw_pedal,
    "balance": draw_balance,
    "form": draw_form,
    "change": draw_change,
}


def main(argv: list[str]) -> int:
    """Draw every picture."""
    folder = Path(argv[0]) if argv else ROOT / "assets" / "measures"
    folder.mkdir(parents=True, exist_ok=True)
    plt.rcParams.update({"font.size": 11, "axes.spines.top": False, "axes.spines.right": False,
                         "axes.edgecolor": INK, "text.color": INK})  # fmt: skip
    for name, draw in PICTURES.items():
        figure, ax = plt.subplots(figsize=(8.4, 3.4 if name != "form" else 2.0), dpi=100)
        draw(ax)
        figure.tight_layout()
        figure.savefig(folder / f"{name}.png", metadata={"Software": None})
        plt.close(figure)
        print(folder / f"{name}.png")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
