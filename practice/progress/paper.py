"""Plots set one below the other on pages of A4, as many as go on each."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from practice.progress.canvas import PAPER, WIDTH_IN, make_axes

if TYPE_CHECKING:
    from matplotlib.figure import Figure

A4_IN = (8.27, 11.69)
MARGIN_IN = 0.55
#: Room for the heading of a plot and the gap after it.
HEADING_IN = 0.45
LINE_IN, LINE_CHARACTERS = 0.19, 96


class Paper:
    """Pages made for a text and then so many plots, in this order.

    Args:
        lines: of the text; long ones are folded.
        heights_in: of the plots, without their headings.
    """

    def __init__(self, lines: Sequence[str], heights_in: Sequence[float]) -> None:
        folded = [part for line in lines for part in _fold(line)]
        strips = [LINE_IN * len(folded), *(height + HEADING_IN for height in heights_in)]
        self.pages: list[Figure] = []
        self._strips = (strip for page in _paginate(strips) for strip in self._make_page(page))
        text = next(self._strips)
        text.text(0.0, 1.0, "\n".join(folded), va="top", fontsize=9, linespacing=1.4)

    def canvas(
        self, height_in: float, rows: int = 1, projection: str | None = None
    ) -> tuple[Any, list[Any]]:
        """Where the next plot goes; its height is the one that was announced."""
        strip = next(self._strips)
        return strip, make_axes(strip, rows, projection)

    def _make_page(self, heights_in: Sequence[float]) -> Iterator[Any]:
        """Strips of these heights from the top; what is left of the page stays empty."""
        from matplotlib.figure import Figure

        page = Figure(figsize=A4_IN, layout="constrained", facecolor=PAPER)
        self.pages.append(page)
        left_in = max(A4_IN[1] - MARGIN_IN - sum(heights_in), 0.01)
        grid = page.add_gridspec(
            len(heights_in) + 2, 3, height_ratios=[MARGIN_IN, *heights_in, left_in],
            width_ratios=[MARGIN_IN, WIDTH_IN, A4_IN[0] - WIDTH_IN - MARGIN_IN],
        )  # fmt: skip
        return (page.add_subfigure(grid[k + 1, 1]) for k in range(len(heights_in)))


def _fold(line: str) -> list[str]:
    return textwrap.wrap(line, LINE_CHARACTERS, subsequent_indent="   ") or [""]


def _paginate(heights_in: Sequence[float]) -> Iterator[list[float]]:
    """Heights page by page, none over the edge unless it is alone too high."""
    page: list[float] = []
    for height in heights_in:
        if page and sum(page) + height > A4_IN[1] - 2 * MARGIN_IN:
            yield page
            page = []
        page.append(height)
    yield page
