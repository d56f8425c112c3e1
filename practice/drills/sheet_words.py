"""A drill in words, in one line, the same for the plan and the window."""

from __future__ import annotations

from engine.drill import DrillSheet
from practice.drill import dash

_ORDERS = {"turns": "", "backwards": "from the back", "anywhere": "from a bar drawn by lot"}


def say_sheet(sheet: DrillSheet) -> str:
    """Where, with which hands, how: "bars 5–8, left hand, strict pulse from 60 to 100 % by 5 %"."""
    told = [
        dash(" and ".join(sheet.where)), _ORDERS[sheet.order], say_turns(sheet), say_pulse(sheet),
        _say_rest(sheet), _say_count(sheet.overlap, "bar", "on beyond the end"),
        _say_count(sheet.passes, "pass", ""), "the other hand played to you" * sheet.other_hand,
        "from memory" * sheet.from_memory,
        "nothing interrupts" * sheet.run_through,
    ]  # fmt: skip
    return ", ".join(text for text in told if text)


def say_turns(sheet: DrillSheet) -> str:
    """Which hands, one after the other."""
    if sheet.hands == ("both",):
        return "both hands"
    names = ["both hands" if one == "both" else f"{one} hand" for one in sheet.hands]
    return ", then ".join(names)


def say_pulse(sheet: DrillSheet) -> str:
    """How the tempo goes."""
    ladder = sheet.ladder
    if sheet.pulse == "free":
        return "at your own pace"
    if ladder.way == "level":
        return f"strict pulse at {percent(ladder.goal)}"
    if ladder.way == "alternate":
        return f"strict pulse, {percent(ladder.start)} and {percent(ladder.goal)} by turns"
    rungs = f"by {percent(ladder.step)}"
    return f"strict pulse from {percent(ladder.start)} to {percent(ladder.goal)} {rungs}"


def percent(rate: float) -> str:
    """A share as the player reads it: "60 %", "2.5 %"."""
    return f"{round(rate * 100, 1):g} %"


def _say_rest(sheet: DrillSheet) -> str:
    if sheet.pulse == "free" or sheet.run_through:
        return ""
    if sheet.rest_beats == 0:
        return "straight on, on the beat"
    return _say_count(sheet.rest_beats, "beat", "between passes")


def _say_count(count: int, what: str, then: str) -> str:
    if not count:
        return ""
    plural = "es" if what == "pass" else "s"
    return f"{count} {what}{plural * (count != 1)} {then}".rstrip()
