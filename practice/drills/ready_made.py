"""Drills that need no file: named on the command line and in the window."""

from __future__ import annotations

from engine.drill import DrillSheet, Ladder

READY_MADE: dict[str, DrillSheet] = {
    "ladder": DrillSheet("tempo ladder"),
    "alternate": DrillSheet("slow and at tempo by turns", ladder=Ladder(way="alternate")),
    "backwards": DrillSheet("chained from the back", order="backwards", overlap=1),
    "anywhere": DrillSheet("start anywhere", order="anywhere", pulse="free", passes=10),
    "twins": DrillSheet("twins by turns", where=("twins 1",)),
    "weakest": DrillSheet("the weakest bars", where=("weakest 3",), overlap=1),
    "hands": DrillSheet("one hand, the other, both", hands=("left", "right", "both")),
    "memory": DrillSheet("from memory", pulse="free", from_memory=True),
    "run-through": DrillSheet("run-through", pulse="free", passes=1, run_through=True),
}
