"""All remarks on a page."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from engine.arrangement import Arrangement
from engine.proof.bars import bar_remarks
from engine.proof.figure import figure_remarks
from engine.proof.hands import Reach, hand_remarks
from engine.proof.octaves import octave_remarks
from engine.proof.pedals import pedal_remarks
from engine.proof.remark import Remark
from engine.proof.spelling import spelling_remarks

#: Who is asked, beside the hands, which need to know the reach.
FINDERS: tuple[Callable[[Arrangement], Iterable[Remark]], ...] = (
    bar_remarks,
    figure_remarks,
    octave_remarks,
    pedal_remarks,
    spelling_remarks,
)


def find_remarks(arrangement: Arrangement, reach: Reach | None = None) -> tuple[Remark, ...]:
    """Everything on the page that looks like an error of notation, in order of the bars.

    Args:
        arrangement: with its form found. reach: how far the hands reach.
    """
    found = [remark for finder in FINDERS for remark in finder(arrangement)]
    found += hand_remarks(arrangement, reach or Reach())
    order = {bar.number: bar.index for bar in reversed(arrangement.bars)}
    unique = {(r.kind, r.bar, r.beat, r.note_ids, r.why): r for r in found}
    return tuple(sorted(unique.values(), key=lambda r: (order.get(r.bar, -1), r.beat or 0, r.kind)))
