"""The pedal as it was played, under the pedal as written, which the engraving has.

A full line lies at the lower edge of the system while the damper was down, with a stroke upwards
where it went down and where it came up.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from engine.performance import DAMPER, PedalMove
from practice.snapshot import PassRecord
from practice.window.desk import Place, find_places
from practice.window.keeping import kept_by_identity
from practice.window.marks import played_note
from practice.window.ops import DrawOp, Line
from practice.window.page import Page
from practice.window.parts import Parts
from practice.window.theme import Theme
from practice.window.view import View

#: A switch reading: 0 to 63 is up, 64 to 127 down (MIDI 1.0 Detailed Specification 4.2.1).
DOWN_FROM = 64
Stretch = tuple[float, float]
#: Spaces from the lower edge of a system's picture up to the line.
_UP = 0.3


def compose_pedal(view: View, theme: Theme, parts: Parts) -> list[DrawOp]:
    """The pedal lines of every line on the screen, once a pass is looked at."""
    if view.page is None or view.performing or view.playing or view.record is None:
        return []
    if not view.page_fits:
        return []
    played = played_stretches(view.page, view.record)
    thick = max(1.6, 1.8 * parts.unit)
    ops: list[DrawOp] = []
    for place in find_places(view, parts):
        ops += _lines(view.page, place, played, theme.heard, thick)
    return ops


def _lines(
    page: Page,
    place: Place,
    stretches: list[Stretch],
    colour: tuple[int, int, int],
    thick: float,
) -> Iterator[DrawOp]:
    bars = page.arrangement.bars
    first, last = bars[place.line.from_bar], bars[place.line.to_bar]
    from_q, to_q = float(first.onset_q), float(last.onset_q + last.duration_q)
    y = place.y + (place.system.height - _UP) * place.px
    tall = 0.4 * place.px
    for down_q, up_q in stretches:
        start, end = max(down_q, from_q), min(up_q, to_q)
        if end <= start:
            continue
        x0 = place.x + page.x_at(place.line, start) * place.px
        x1 = place.x + page.x_at(place.line, end) * place.px
        yield Line(((x0, y), (x1, y)), colour, thick)
        for inside, x in ((down_q >= from_q, x0), (up_q <= to_q, x1)):
            if inside:
                yield Line(((x, y), (x, y - tall)), colour, thick)


@kept_by_identity(2)
def played_stretches(page: Page, record: PassRecord) -> list[Stretch]:
    """When the damper was down, in quarters of the score; seconds go by the right notes."""
    found = _clock(page, record)
    if found is None:
        return []
    seconds, quarters = found
    return [
        (float(np.interp(a, seconds, quarters)), float(np.interp(b, seconds, quarters)))
        for a, b in _down_times(record.pedals, float(seconds[-1]))
    ]


def _down_times(pedals: tuple[PedalMove, ...], end_s: float) -> Iterator[tuple[float, float]]:
    since: float | None = None
    for move in pedals:
        if move.controller != DAMPER:
            continue
        if move.value >= DOWN_FROM and since is None:
            since = move.time_s
        elif move.value < DOWN_FROM and since is not None:
            yield since, move.time_s
            since = None
    if since is not None:
        yield since, max(end_s, since)


def _clock(
    page: Page, record: PassRecord
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]] | None:
    pairs = sorted(
        (played_note(record, f.played).onset_s, float(page.arrangement.notes[f.score].onset_q))
        for f in record.findings
        if f.what == "right" and f.played is not None and f.score is not None
    )
    if len(pairs) < 2:
        return None
    seconds, quarters = np.array(pairs).T
    return seconds, np.maximum.accumulate(quarters)
