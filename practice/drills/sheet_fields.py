"""The numbers of a drill: what each is, why, how far it may go, and a step up or down."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, TypeVar, get_args

from engine.arrangement import Hands
from engine.drill import DrillSheet
from engine.drill.sheet import Way
from practice.drills.sheet_file import LEAST
from practice.drills.sheet_words import percent, say_turns

#: Hands by turns, as they are stepped through.
TURNS: tuple[tuple[Hands, ...], ...] = (
    ("both",), ("right",), ("left",), ("left", "right", "both"), ("right", "left", "both"),
)  # fmt: skip
_WAYS: dict[Way, str] = {
    "level": "one tempo, the goal", "step": "rung by rung", "alternate": "slow and at tempo",
}  # fmt: skip
#: Two numbers closer than this are one.
_SAME = 1e-9
_ONLY_STRICT = "only with the strict pulse"
_ONLY_LADDER = "only where the tempo moves"

Kind = Literal["choice", "rate", "count"]
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Field:
    """One thing that can be changed, as it stands.

    Attributes:
        name: as in the drill's file, "ladder.start" for what stands under [ladder].
        label, value: for the player. why: what it does. limits: how far it goes, "" for choices.
        idle: why it changes nothing in this drill, "" where it does.
    """

    name: str
    label: str
    value: str
    why: str
    limits: str = ""
    idle: str = ""


@dataclass(frozen=True, slots=True)
class _Number:
    """A number that can be set: by which step, and to how much at the most."""

    label: str
    why: str
    kind: Kind
    step: float
    most: Callable[[DrillSheet], float]
    least: Callable[[DrillSheet], float] | None = None
    idle: Callable[[DrillSheet], str] = lambda _sheet: ""


def _when_strict(sheet: DrillSheet) -> str:
    return "" if sheet.pulse == "strict" else _ONLY_STRICT


def _when_moving(sheet: DrillSheet) -> str:
    chained = sheet.order == "backwards"
    return _when_strict(sheet) or ("" if sheet.ladder.way != "level" or chained else _ONLY_LADDER)


#: How much what comes before it in the file's [ladder] bears on it is said by `least` and `most`.
_NUMBERS: dict[str, _Number] = {
    "ladder.start": _Number(
        "First tempo", "The tempo to begin with, a share of the marked one; at most the goal.",
        "rate", 0.05, lambda s: s.ladder.goal, idle=_when_moving,
    ),
    "ladder.goal": _Number(
        "Goal", "The tempo to arrive at, a share of the marked one; at least the first tempo.",
        "rate", 0.05, lambda _s: 1.5, lambda s: s.ladder.start, idle=_when_strict,
    ),
    "ladder.slowest": _Number(
        "Never below", "Poor passes bring the tempo down no further than this.",
        "rate", 0.05, lambda s: s.ladder.start, idle=_when_moving,
    ),
    "ladder.step": _Number(
        "A rung", "By how much good passes lift the tempo, and poor ones lower it. A change under "
        "3 % is hardly noticed; near the limit rungs shrink by themselves.",
        "rate", 0.01, lambda _s: 0.5, idle=_when_moving,
    ),
    "ladder.good_to_rise": _Number(
        "Good passes to rise", "So many in a row lift the tempo by a rung. How many is yours to "
        "choose; no study shows one number to be best.", "count", 1, lambda _s: 10,
        idle=_when_strict,
    ),
    "ladder.poor_to_fall": _Number(
        "Poor passes to fall", "So many in a row bring the tempo down.", "count", 1,
        lambda _s: 10, idle=_when_moving,
    ),
    "rest_beats": _Number(
        "Rest between passes", "Beats until the count-in; 0 goes straight on, on the beat.",
        "count", 1, lambda _s: 32, idle=_when_strict,
    ),
    "click_parts": _Number(
        "Clicks a beat", "Two or more divide the beat.", "count", 1, lambda _s: 4,
        idle=_when_strict,
    ),
    "overlap": _Number(
        "On beyond the end", "Bars played on into what follows, so that the join is practised.",
        "count", 1, lambda _s: 8,
    ),
    "passes": _Number(
        "Passes", "After so many it is over; 0: until the goal stands, or you have had enough.",
        "count", 1, lambda _s: 99,
    ),
}  # fmt: skip
_UNITS = {"rest_beats": "beat", "overlap": "bar"}


def list_fields(sheet: DrillSheet, places: Sequence[str] = ()) -> list[Field]:
    """Everything that can be changed, in order. `places`: the ones to choose from."""
    ladder = sheet.ladder
    strict = "strict, with the click" if sheet.pulse == "strict" else "free, at your own pace"
    where = " and ".join(sheet.where)
    return [
        Field("where", "Where", where, f"The places there are here: {len(places)}."),
        Field("hands", "Hands", say_turns(sheet), "By turns: the next as soon as one stands."),
        Field("pulse", "Pulse", strict, "The tempo follows your results only with the click."),
        Field("ladder.way", "Tempo", _WAYS[ladder.way], "How the tempo moves between the two.",
              idle=_when_strict(sheet)),
        *(_number_field(sheet, name) for name in _NUMBERS),
        Field("other_hand", "The other hand", "played to you" if sheet.other_hand else "silent",
              "The second piano plays the hand that rests, with the click or following you.",
              idle="" if sheet.hands != ("both",) else "both hands are yours"),
    ]  # fmt: skip


def _number_field(sheet: DrillSheet, name: str) -> Field:
    spec, (least, most) = _NUMBERS[name], limits_of(sheet, name)
    limits = f"{_show(name, least)} to {_show(name, most)}"
    value = _show(name, get_value(sheet, name))
    return Field(name, spec.label, value, spec.why, limits, spec.idle(sheet))


def limits_of(sheet: DrillSheet, name: str) -> tuple[float, float]:
    """The least and the most that a number may be in this drill."""
    spec = _NUMBERS[name]
    floor = LEAST.get(name.rpartition(".")[2], 0.0)
    return max(floor, spec.least(sheet)) if spec.least else floor, spec.most(sheet)


def _show(name: str, value: float) -> str:
    if _NUMBERS[name].kind == "rate":
        return percent(value)
    unit = _UNITS.get(name, "")
    return f"{value:g} {unit}{'s' * (value != 1)}" if unit else f"{value:g}"


def get_value(sheet: DrillSheet, name: str) -> Any:
    """What a field holds."""
    owner, _, own = name.rpartition(".")
    return getattr(sheet.ladder if owner else sheet, own)


def change_field(sheet: DrillSheet, name: str, step: int, places: Sequence[str] = ()) -> DrillSheet:
    """The drill with one field a step on (1) or back (-1); at its limit it stays as it is."""
    if name == "where":
        return replace(sheet, where=_next_place(sheet, step, places))
    if name == "hands":
        return replace(sheet, hands=_next_of(TURNS, sheet.hands, step))
    if name == "other_hand":
        return replace(sheet, other_hand=not sheet.other_hand)
    if name == "pulse":
        return replace(sheet, pulse="free" if sheet.pulse == "strict" else "strict")
    if name == "ladder.way":
        return _set(sheet, name, _next_of(get_args(Way), sheet.ladder.way, step))
    return _set(sheet, name, _next_number(sheet, name, step))


def _next_place(sheet: DrillSheet, step: int, places: Sequence[str]) -> tuple[str, ...]:
    if not places:
        return sheet.where
    here = sheet.where[0] if len(sheet.where) == 1 else ""
    return (_next_of(tuple(places), here, step),)


def _next_of(all_of: tuple[T, ...], now: T, step: int) -> T:
    at = all_of.index(now) + step if now in all_of else (0 if step > 0 else -1)
    return all_of[at % len(all_of)]


def _next_number(sheet: DrillSheet, name: str, step: int) -> float:
    """On the grid of its step, and inside its limits."""
    spec, now = _NUMBERS[name], float(get_value(sheet, name))
    least, most = limits_of(sheet, name)
    if spec.kind == "count":
        return int(min(max(now + step, least), max(most, now)))
    rungs = now / spec.step
    rung = math.floor(rungs + _SAME) + 1 if step > 0 else math.ceil(rungs - _SAME) - 1
    return round(min(max(rung * spec.step, least), max(most, now)), 6)


def _set(sheet: DrillSheet, name: str, value: Any) -> DrillSheet:
    owner, _, own = name.rpartition(".")
    if not owner:
        return replace(sheet, **{own: value})
    ladder = replace(sheet.ladder, **{own: value})
    if own == "start" and ladder.slowest > ladder.start:
        ladder = replace(ladder, slowest=ladder.start)  # never below it cannot lie above it
    return replace(sheet, ladder=ladder)
