"""Progress as plots: the same figures for the page, the PDF and the pictures.

Nothing is told by colour alone: stages by hatching and word, hands by marker, counts by number.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from engine.errors import UndersongError
from engine.measure.interval import mean_of
from engine.standing import DEFINITIONS
from practice.progress.canvas import INK, Axes, Canvas, make_figure
from practice.progress.news import HARDLY_HEARD_MS
from practice.progress.progress import HandProgress, Progress, SectionProgress
from practice.whole_file import whole_file

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FAINT = "#8b979e"
#: Of a month with fewer passes no place is made bold.
LEAST_TOLD = 3
#: Marker, line and shade of each hand; told apart without colour.
HANDS: dict[str, tuple[str, str, str]] = {
    "left": ("v", ":", "#8a5a00"),
    "right": ("^", "--", "#00606b"),
    "both": ("o", "-", INK),
}
#: Hatching and grey of each stage: the further, the fuller.
STAGES: dict[str, tuple[str, str]] = {
    "unplayed": ("", "#ffffff"),
    "reading": ("..", "#eef1f2"),
    "steady": ("//", "#d5dde0"),
    "up to tempo": ("xx", "#b3c1c7"),
    "secure": ("", "#5f7883"),
}


@dataclass(frozen=True)
class Plot:
    """A figure with a name for its file and words for who cannot see it."""

    name: str
    title: str
    words: str
    figure: Figure


def draw_plots(progress: Progress, canvas: Canvas = make_figure) -> Iterator[Plot]:
    """All plots of a progress, one by one."""
    from matplotlib import rc_context

    with rc_context({"font.size": 8, "svg.fonttype": "none", "hatch.linewidth": 0.6}):
        yield _plot_map(progress, canvas)
        for section in progress.sections:
            if any(len(h.days) > 1 for h in section.hands):
                yield _plot_section(section, canvas)
            for hand in section.hands:
                if len(hand.places_now) > 2 and len(hand.places_then) > 2:
                    yield _plot_places(section, hand, canvas)
                if len(hand.place_months) > 2:
                    yield _plot_months(section, hand, canvas)
        if progress.kinds:
            yield _plot_kinds(progress, canvas)
        if progress.seconds:
            yield _plot_time(progress, canvas)


def _plot_map(progress: Progress, canvas: Canvas) -> Plot:
    """Sections in order of playing, as wide as their bars; a row for each hand."""
    figure, (ax,) = canvas(2.2)
    places = sorted(
        (index, section)
        for section in progress.sections
        for index in (section.index, *section.also)
    )
    at = 0
    for _, section in places:
        for row, hand in enumerate(section.hands):
            hatch, shade = STAGES[hand.standing.stage]
            ax.barh(row, section.bars, left=at, height=0.8, color=shade, edgecolor=INK,
                    hatch=hatch, linewidth=0.8)  # fmt: skip
        ax.text(at + 0.4, -0.55, section.name, rotation=30, ha="left", va="bottom", fontsize=7)
        at += section.bars
    ax.set_yticks(range(3), [h.hands for h in progress.sections[0].hands])
    ax.set_ylim(2.5, -0.5)
    ax.set_xlim(0, at)
    ax.set_xlabel("bars, in order of playing")
    figure.legend(handles=_stage_keys(), ncols=5, loc="outside lower center", frameon=False)
    stages = "; ".join(
        f"{s.name}: " + ", ".join(f"{h.hands} {h.standing.stage}" for h in s.hands)
        for s in progress.sections
    )
    return Plot(
        "map", "Where each section stands", f"Stage of each section and hand. {stages}.", figure
    )


def _stage_keys() -> list[Any]:
    from matplotlib.patches import Patch

    return [
        Patch(facecolor=shade, edgecolor=INK, hatch=hatch, label=stage)
        for stage, (hatch, shade) in STAGES.items()
    ]


def _plot_section(section: SectionProgress, canvas: Canvas) -> Plot:
    """A row for the notes, and one each for figure and tempo where there is anything to show."""
    days = [d for h in section.hands for d in h.days]
    even = any(d.evenness_ms.value is not None for d in days)
    tempo = any(d.tempo_share for d in days)
    figure, axes = canvas(1.5 + 1.2 * (even + tempo), 1 + even + tempo)
    rows = iter(axes)
    _draw_right(section, next(rows))
    if even:
        _draw_even(section, next(rows))
    if tempo:
        _draw_tempo(section, next(rows))
    figure.legend(frameon=False, ncols=3, loc="outside upper right",
                  handles=axes[0].get_legend_handles_labels()[0])  # fmt: skip
    _date_axis(axes[-1])
    return Plot(
        f"section-{section.index + 1}", section.name, _section_words(section), figure
    )  # fmt: skip


def _style(hand: HandProgress) -> dict[str, Any]:
    marker, line, shade = HANDS[hand.hands]
    return {"marker": marker, "linestyle": line, "color": shade, "markersize": 3, "linewidth": 0.9}


def _day(text: str) -> date:
    return date.fromisoformat(text)


def _draw_right(section: SectionProgress, ax: Axes) -> None:
    ax.set_ylabel("notes right, %")
    for hand in section.hands:
        if not hand.days:
            continue
        days = [_day(d.day) for d in hand.days]
        shares = [100 * d.right_share for d in hand.days]
        ax.plot(days, shares, label=hand.hands, **_style(hand))
        cold = [(_day(r.day), 100 * r.cold) for r in hand.retention]
        ax.plot([day for day, _ in cold], [share for _, share in cold], linestyle="none",
                marker="D", markersize=4.5, markerfacecolor="none",
                color=HANDS[hand.hands][2])  # fmt: skip


def _draw_even(section: SectionProgress, ax: Axes) -> None:
    """Means with their intervals; one from two passes may run off the top."""
    ax.set_ylabel("figure, ms")
    most = 10.0
    for hand in section.hands:
        told = [(_day(d.day), d.evenness_ms) for d in hand.days if d.evenness_ms.value is not None]
        ax.plot([day for day, _ in told], [e.value for _, e in told], **_style(hand))
        for day, e in told:
            most = max(most, e.value or 0.0)
            if e.low is not None and e.high is not None:
                ax.plot([day, day], [e.low, e.high], color=HANDS[hand.hands][2], linewidth=0.7)
    ax.set_ylim(0, 1.6 * most)


def _draw_tempo(section: SectionProgress, ax: Axes) -> None:
    ax.set_ylabel("tempo, %")
    ax.axhline(100 * DEFINITIONS.full_tempo, color=FAINT, linewidth=0.6)
    for hand in section.hands:
        best = [(_day(d.day), 100 * d.tempo_share) for d in hand.days if d.tempo_share]
        ax.plot([day for day, _ in best], [share for _, share in best], **_style(hand))


def _section_words(section: SectionProgress) -> str:
    """What the curves show, in words."""
    said = []
    for hand in section.hands:
        even = [d.evenness_ms.value for d in hand.days if d.evenness_ms.value is not None]
        if hand.days:
            first, last = hand.days[0], hand.days[-1]
            text = f"{hand.hands}: {100 * first.right_share:.0f} % of notes right on {first.day}"
            text += f", {100 * last.right_share:.0f} % on {last.day}"
            if len(even) > 1:
                text += f"; figure from {even[0]:.0f} to {even[-1]:.0f} ms at like tempo"
            said.append(text)
    words = f"{section.name}, day by day. " + ". ".join(said) + "."
    if any(h.retention for h in section.hands):
        words += " Diamonds: the first pass of a day, cold."
    return words


def _date_axis(ax: Axes) -> None:
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    locator: Any = AutoDateLocator(maxticks=9)  # type: ignore[no-untyped-call]
    ax.xaxis.set_major_locator(locator)
    ax.xaxis.set_major_formatter(ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]


def _plot_places(section: SectionProgress, hand: HandProgress, canvas: Canvas) -> Plot:
    """Mean deviation of each place with its interval: the oldest passes and the newest."""
    figure, (ax,) = canvas(2.0)
    rows = (("first passes", hand.places_then, -0.12, "s", FAINT),
            ("last passes", hand.places_now, 0.12, "o", INK))  # fmt: skip
    said = []
    for label, passes, shift, marker, shade in rows:
        means = [mean_of(column, "ms", "passes") for column in zip(*passes, strict=True)]
        for place, mean in enumerate(means):
            if mean.value is not None and mean.low is not None and mean.high is not None:
                ax.plot([place + 1 + shift] * 2, [mean.low, mean.high], color=shade, linewidth=1)
        values = [m.value for m in means]
        at = [k + 1 + shift for k in range(len(means))]
        ax.plot(at, values, marker, color=shade, markersize=4,
                label=f"{label} (n {len(passes)})")  # fmt: skip
        said.append(f"{label}: " + ", ".join("-" if v is None else f"{round(v):d}" for v in values))
    ax.axhspan(-HARDLY_HEARD_MS, HARDLY_HEARD_MS, color="#eef1f2", zorder=0)
    ax.axhline(0, color=INK, linewidth=0.6)
    low, high = ax.get_ylim()
    ax.set_ylim(min(low, -1.4 * HARDLY_HEARD_MS), max(high, 1.4 * HARDLY_HEARD_MS))
    ax.set_xlabel("place in the cell; within the grey band hardly heard")
    ax.set_ylabel("late, ms")
    figure.legend(frameon=False, ncols=2, loc="outside upper right")
    title = f"{section.name}, {hand.hands}: the figure place by place"
    return Plot(
        f"places-{section.index + 1}-{hand.hands}", title,
        f"{title}. Mean deviation in ms, positive late: {'; '.join(said)}.", figure,
    )  # fmt: skip


def _plot_months(section: SectionProgress, hand: HandProgress, canvas: Canvas) -> Plot:
    """Mean deviation of each place, month by month."""
    months = [
        m for m in hand.place_months if len(m.means_ms) == len(hand.place_months[-1].means_ms)
    ]
    places = len(months[-1].means_ms)
    figure, (ax,) = canvas(0.7 + 0.22 * places)
    grid = [[m.means_ms[place] for m in months] for place in range(places)]
    most = max(2 * HARDLY_HEARD_MS, *(abs(v) for row in grid for v in row))
    sizes = [[abs(v) for v in row] for row in grid]
    ax.imshow(sizes, aspect="auto", cmap="Greys", vmin=0, vmax=2 * most)
    for y, row in enumerate(grid):
        for x, value in enumerate(row):
            heard = abs(value) > HARDLY_HEARD_MS and months[x].passes >= LEAST_TOLD
            weight = "bold" if heard else "normal"
            ax.text(x, y, _signed(value), ha="center", va="center", color=INK, weight=weight)
    ax.set_xticks(range(len(months)), [f"{m.month}\nn {m.passes}" for m in months])
    ax.set_yticks(range(places), [f"place {k + 1}" for k in range(places)])
    ax.spines[:].set_visible(False)
    title = f"{section.name}, {hand.hands}: each place, month by month"
    said = "; ".join(
        f"{m.month} (n {m.passes}): " + ", ".join(map(_signed, m.means_ms)) for m in months
    )
    return Plot(
        f"months-{section.index + 1}-{hand.hands}", title,
        "Mean deviation of each place of the figure at like tempo, in ms, positive late; bold "
        f"where it can be heard, of three passes or more. {said}.", figure,
    )  # fmt: skip


def _signed(value: float) -> str:
    """A whole number with its sign; nought has none."""
    return f"{value:+.0f}" if round(value) else "0"


def _plot_kinds(progress: Progress, canvas: Canvas) -> Plot:
    months = sorted({m for m, _, _ in progress.kinds})[-18:]
    count = {(m, kind): n for m, kind, n in progress.kinds}
    kinds = sorted({k for _, k, _ in progress.kinds}, key=lambda k: -sum(
        count.get((m, k), 0) for m in months))  # fmt: skip
    figure, (ax,) = canvas(0.6 + 0.24 * len(kinds))
    grid = [[count.get((m, k), 0) for m in months] for k in kinds]
    most = max(max(row) for row in grid) or 1
    ax.imshow(grid, aspect="auto", cmap="Greys", vmin=0, vmax=2 * most)
    for y, row in enumerate(grid):
        for x, n in enumerate(row):
            ax.text(x, y, str(n) if n else "·", ha="center", va="center", color=INK)
    ax.set_xticks(range(len(months)), months, rotation=0 if len(months) < 9 else 45)
    ax.set_yticks(range(len(kinds)), kinds)
    ax.spines[:].set_visible(False)
    last = ", ".join(f"{k} {count[months[-1], k]}" for k in kinds if (months[-1], k) in count)
    return Plot(
        "slips", "Slips by kind", f"Slips a month by kind. In {months[-1]}: {last}.", figure
    )


def _plot_time(progress: Progress, canvas: Canvas) -> Plot:
    """Minutes at the keys in each section, beside the good passes they brought."""
    rows = []
    for section in progress.sections:
        sums = [h.sums for h in section.hands if h.sums.days]
        if sums:
            rows.append((section.name, sum(s.seconds for s in sums) / 60,
                         sum(s.good for s in sums), sum(s.passes for s in sums)))  # fmt: skip
    figure, (ax,) = canvas(0.7 + 0.28 * len(rows))
    ax.barh(range(len(rows)), [r[1] for r in rows], color="#d5dde0", edgecolor=INK, linewidth=0.8)
    for y, (_, minutes, good, passes) in enumerate(rows):
        ax.text(minutes, y, f"  {good} of {passes} good", va="center")
    ax.set_yticks(range(len(rows)), [r[0] for r in rows])
    ax.invert_yaxis()
    ax.margins(x=0.25)
    ax.set_xlabel("minutes at the keys")
    said = "; ".join(f"{n}: {m:.1f} min, {g} of {p} passes good" for n, m, g, p in rows)
    return Plot("time", "Time spent, and what it brought", f"{said}.", figure)


def svg_text(plot: Plot) -> str:
    """The figure as SVG for a page, the same on every run; its size and joins are the page's."""
    from matplotlib import rc_context

    out = io.StringIO()
    with rc_context({"svg.hashsalt": plot.name, "svg.fonttype": "none"}):
        plot.figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>", "", text, flags=re.DOTALL)
    head, rest = text.split(">", 1)
    return re.sub(r' (width|height)="[^"]*"', "", head) + ">" + rest


def write_pdf(progress: Progress, path: str, made: datetime, lines: Sequence[str]) -> None:
    """Pages of A4: first the words, then the plots.

    Args:
        lines: the words at the head.

    Raises:
        UndersongError: the file cannot be written.
    """
    from matplotlib.backends.backend_pdf import PdfPages

    from practice.progress.paper import Paper

    heights_in = [plot.figure.get_figheight() for plot in draw_plots(progress)]
    paper = Paper([f"{progress.title}: progress on {made:%Y-%m-%d}", "", *lines, ""], heights_in)
    for plot in draw_plots(progress, paper.canvas):
        plot.figure.suptitle(plot.title, x=0.01, ha="left")
    told = {"Title": f"Progress: {progress.title}", "CreationDate": made}
    try:
        with whole_file(path) as part, PdfPages(part, metadata=told) as pdf:
            for page in paper.pages:
                pdf.savefig(page)
    except OSError as error:
        raise UndersongError(f"cannot be written ({error.strerror})", path) from error


def write_pngs(progress: Progress, folder: str, made: datetime) -> list[Path]:
    """Each plot as a picture in a folder, which is made where needed.

    Raises:
        UndersongError: a file cannot be written.
    """
    into = Path(folder)
    paths = []
    try:
        into.mkdir(parents=True, exist_ok=True)
        for plot in draw_plots(progress):
            plot.figure.suptitle(plot.title, x=0.01, ha="left")
            paths.append(into / f"{plot.name}.png")
            stamp = {"Title": plot.title, "Creation Time": made.isoformat(timespec="seconds")}
            with whole_file(paths[-1]) as part:
                plot.figure.savefig(part, format="png", dpi=160, metadata=stamp)
    except OSError as error:
        raise UndersongError(f"cannot be written ({error.strerror})", folder) from error
    return paths
