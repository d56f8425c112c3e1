"""What a plot is drawn on: a figure of its own, or a strip of a page (see `paper`)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: matplotlib's own types do not take dates.
Axes = Any
INK, PAPER = "#22303a", "#ffffff"
WIDTH_IN = 7.3


class Canvas(Protocol):
    """Makes a figure, or a part of one, and its axes: so many of one kind below one another."""

    def __call__(
        self, height_in: float, rows: int = 1, projection: str | None = None
    ) -> tuple[Any, list[Axes]]:
        """Height in inches."""
        ...


def make_figure(
    height_in: float, rows: int = 1, projection: str | None = None
) -> tuple[Figure, list[Axes]]:
    """A figure of the common width."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained", facecolor=PAPER)
    return figure, make_axes(figure, rows, projection)


def make_axes(figure: Any, rows: int, projection: str | None) -> list[Axes]:
    """Axes in a figure or a part of one, with the common look."""
    kind = {"projection": projection}
    axes = list(figure.subplots(rows, 1, sharex=True, squeeze=False, subplot_kw=kind)[:, 0])
    if projection is None:
        dress(axes)
    return axes


def dress(axes: Iterable[Axes]) -> None:
    """The common look."""
    for ax in axes:
        ax.spines[["top", "right"]].set_visible(False)
        ax.tick_params(colors=INK, length=2)
