"""Turning the page: which line stands in which slot, and when a slot gets its next line.

The Desk has a few slots one above another. A line that is being read, and the one to be read
next, never move. When the player is well into a line, the slots of the lines behind them take
the lines to come, so that what comes next is always there before the eye needs it.
"""

from __future__ import annotations

from collections.abc import Sequence

Slots = tuple[int | None, ...]
#: How much of a line must have been played before the line behind it may go: players stop at the
#: joins of lines and go back a bar. Where that line is in the way of the next one (two slots), it
#: goes sooner.
SETTLED, SETTLED_FOR_NEXT = 0.3, 0.15


def open_slots(order: Sequence[int], at: int, count: int) -> Slots:
    """Slots filled from a place in the order of lines on, top to bottom.

    Args:
        order: lines in the order they will be read.
        at: index into `order` of the line for the top slot.
        count: number of slots.
    """
    lines = [int(line) for line in order[at : at + count]]
    return (*lines, *([None] * (count - len(lines))))


def turn(slots: Slots, reading: int, share: float, coming: Sequence[int]) -> Slots:
    """The slots after the player has come to `share` (0 to 1) of the line `reading`.

    Args:
        slots: as they are.
        reading: the line that is being played.
        share: how far into it.
        coming: the lines after it in order of playing, nearest first; may come back to lines
            already played where the span comes round again.

    Returns:
        Slots in which `reading` stands, and after its first beats the line after it; neither
        of them moved if it was there before.
    """
    if reading not in slots:
        return open_slots([reading, *coming], 0, len(slots))
    wanted = _first_unlike(reading, coming, len(slots))
    kept = {reading, *wanted}
    out: list[int | None] = list(slots)
    settled = share >= (SETTLED if set(wanted[:1]) <= set(slots) else SETTLED_FOR_NEXT)
    for line in wanted if settled else ():
        if line not in out:
            out[_slot_to_give(out, kept, reading)] = line
    return tuple(out)


def _first_unlike(reading: int, coming: Sequence[int], count: int) -> list[int]:
    """The next lines, each once, as many as there is room for beside the one being read."""
    wanted: list[int] = []
    for line in coming:
        if line != reading and line not in wanted:
            wanted.append(line)
        if len(wanted) == count - 1:
            break
    return wanted


def _slot_to_give(slots: Sequence[int | None], kept: set[int], reading: int) -> int:
    """The slot whose line is needed no more: below the line being read first, round to the top."""
    start = list(slots).index(reading)
    ring = [(start + k) % len(slots) for k in range(1, len(slots))]
    free = [i for i in ring if slots[i] not in kept]
    return free[0] if free else ring[-1]
