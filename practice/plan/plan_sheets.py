"""The items of a plan as drills, each kept under a name so that one command starts it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from engine.arrangement import Arrangement
from engine.drill import DrillSheet, Ladder
from engine.errors import UndersongError
from practice.drills.places import say_place
from practice.drills.sheet_file import write_sheet
from practice.plan.plan_items import PlanItem, PlanOptions

#: Kinds whose tempo climbs by the player's own results, and that whose tempo is the player's own.
CLIMBING = ("ladder", "slower", "join", "new", "weak bars", "apart")


def sheet_of(item: PlanItem, arrangement: Arrangement, options: PlanOptions) -> DrillSheet | None:
    """The drill of an item; None for a rest or a warm-up."""
    if item.span is None:
        return None
    spans = [item.span] if item.other is None else [item.span, item.other]
    climbs = item.kind in CLIMBING and item.rate is not None
    ladder = _ladder(item.rate, item.goal, options) if climbs and item.rate else Ladder()
    return DrillSheet(
        f"{item.kind}: {item.reason}",
        where=tuple(say_place(arrangement, span) for span in spans),
        hands=(item.hands or "both",),
        pulse="strict" if climbs else "free",
        ladder=ladder,
        passes=item.passes,
        run_through=item.kind in ("run-through", "cold"),
    )


def _ladder(start: float, goal: float, options: PlanOptions) -> Ladder:
    """Up after a good pass, down after two faulty ones; done after enough good ones at the goal."""
    return Ladder(
        start=start, goal=max(goal, start), step=options.step, good_to_rise=1,
        good_to_stand=options.enough,
    )  # fmt: skip


def keep_sheets(
    folder: Path, items: Sequence[PlanItem], arrangement: Arrangement, options: PlanOptions
) -> list[str]:
    """Write every item's drill into a folder as today-1, today-2 ...; their names, "" for none.

    Yesterday's are taken away. Where nothing can be written, all names are "".
    """
    names = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for old in folder.glob("today-*.toml"):
            old.unlink()
        for number, item in enumerate(items, 1):
            sheet = sheet_of(item, arrangement, options)
            names.append(f"today-{number}" if sheet else "")
            if sheet:
                write_sheet(folder / f"{names[-1]}.toml", sheet)
    except (OSError, UndersongError):
        return [""] * len(items)
    return names
