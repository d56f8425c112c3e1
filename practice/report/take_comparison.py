"""Two kept takes side by side: what was measured in each, and whether it differs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from engine.errors import TakeError
from engine.findings import Estimate, no_estimate
from engine.measure.change import Better, Change, compare_passes, not_comparable
from practice.store.store import Store

#: What is compared: words, where it is among the measures, unit, which way is better.
LINES: tuple[tuple[str, str, str, str, Better], ...] = (
    ("notes right", "notes", "right_share", "share", "higher"),
    ("timing", "timing", "median_deviation_ms", "ms", "lower"),
    ("evenness", "evenness", "sd_ms", "ms", "lower"),
    ("octaves", "octaves", "residual_sd_ms", "ms", "lower"),
    ("changes of pedal clean", "pedal", "changes_clean_share", "share", "higher"),
)


@dataclass(frozen=True, slots=True)
class Comparison:
    """One line: both values and what can be said of the difference."""

    what: str
    one: Estimate
    other: Estimate
    change: Change


def compare_takes(store: Store, one: int, other: int) -> list[Comparison]:
    """The longest passes of two takes of one arrangement.

    Raises:
        TakeError: a take is missing, has no pass, or they are of different arrangements.
    """
    takes = [store.take(number) for number in (one, other)]
    if takes[0].start.title != takes[1].start.title:
        raise TakeError("they are of different arrangements", f"takes {one} and {other}")
    apart = takes[0].start.instrument != takes[1].start.instrument
    measures = [_measures(store, number) for number in (one, other)]
    out = []
    for what, group, name, unit, better in LINES:
        a, b = (_estimate(m, group, name, unit) for m in measures)
        if a.value is None and b.value is None:
            continue
        change = not_comparable() if apart else compare_passes(a, b, better)
        if group == "evenness" and not apart:
            change = _fingered_otherwise(*measures) or change
        out.append(Comparison(what, a, b, change))
    return out


def _fingered_otherwise(one: Mapping[str, Any], other: Mapping[str, Any]) -> Change | None:
    """What is said of a figure fingered in two ways; None where it is fingered alike."""
    told = [(m.get("evenness") or {}).get("fingering") or "none told" for m in (one, other)]
    if told[0] == told[1]:
        return None
    none = no_estimate("another fingering", "ms")
    words = f"another fingering, {told[0]} against {told[1]}"
    return Change("not comparable", none, None, None, "", words)


def _measures(store: Store, number: int) -> Mapping[str, Any]:
    passes = store.passes(take=number)
    if not passes:
        raise TakeError("no pass was found in it", f"take {number}", "nothing to compare")
    longest = max(passes, key=lambda p: p.last_note - p.first_note)
    return store.detail(number, longest.number).measures


def _estimate(measures: Mapping[str, Any], group: str, name: str, unit: str) -> Estimate:
    told = (measures.get(group) or {}).get(name)
    if not isinstance(told, Mapping) or told.get("value") is None:
        reason = told.get("reason", "") if isinstance(told, Mapping) else ""
        return no_estimate(reason or "not measured", unit)
    return Estimate(told["value"], told.get("low"), told.get("high"), told.get("n", 0), unit)


def say_comparison(line: Comparison) -> str:
    """One line for the player."""
    return f"{line.what}: {_say(line.one)} against {_say(line.other)}: {line.change.words}"


def _say(estimate: Estimate) -> str:
    if estimate.value is None:
        return "no value"
    if estimate.unit == "share":
        return f"{estimate.value:.0%}"
    return f"{estimate.value:.1f} {estimate.unit}"
