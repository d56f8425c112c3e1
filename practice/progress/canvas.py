"""What a plot is drawn on: a figure of its own, or a strip of a page (see `paper`)."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: matplotlib's own types do not take dates.
Axes = Any
#: From a height in inches and a number of rows to a figure, or a part of one, and its axes.
Canvas = Callable[[float, int], tuple[Any, list[Axes]]]

INK, PAPER = "#22303a", "#ffffff"
WIDTH_IN = 7.3


def make_figure(height_in: float, rows: int = 1) -> tuple[Figure, list[Axes]]:
    """A figure of the common width, with so many axes below one another."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained", facecolor=PAPER)
    axes = list(figure.subplots(rows, 1, sharex=True, squeeze=False)[:, 0])
    dress(axes)
    return figure, axes


def dress(axes: Iterable[Axes]) -> None:
    """The common look."""
    for ax in axes:
        ax.spines[["top", "right"]].set_visible(False)
        ax.tick_params(colors=INK, length=2)
