"""Two kept takes side by side: what was measured in each, and whether it differs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from engine.errors import TakeError
from engine.findings import Estimate, no_estimate
from engine.measure.change import LIKE_TEMPO, Better, Change, compare_passes, not_comparable
from practice.store.kept import KeptPass, KeptTake
from practice.store.store import Store

#: What is compared: words, where it is among the measures, unit, which way is better. The numbers
#: are those that a pass is told in; of several names the first that both passes have counts.
LINES: tuple[tuple[str, str, tuple[str, ...], str, Better], ...] = (
    ("notes right", "notes", ("right_share",), "share", "higher"),
    ("timing", "timing", ("asynchrony_sd_ms", "median_deviation_ms"), "ms", "lower"),
    ("evenness", "evenness", ("sd_ms",), "ms", "lower"),
    ("octaves", "octaves", ("median_abs_residual_ms", "median_abs_split_ms"), "ms", "lower"),
    ("changes of pedal clean", "pedal", ("changes_clean_share",), "share", "higher"),
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

    Other hands, or bars that have none in common, are set side by side and not compared; nor is the
    figure at another tempo, which evenness goes with.

    Raises:
        TakeError: a take is missing, has no pass, or they are of different arrangements.
    """
    takes = [store.take(number) for number in (one, other)]
    if takes[0].start.title != takes[1].start.title:
        raise TakeError("they are of different arrangements", f"takes {one} and {other}")
    passes = [longest_pass(store, number) for number in (one, other)]
    apart = _tell_apart(takes, passes)
    measures = [store.detail(p.take, p.number).measures for p in passes]
    out = []
    for what, group, names, unit, better in LINES:
        a, b = _estimates(measures, group, names, unit)
        if a.value is None and b.value is None:
            continue
        change = apart or compare_passes(a, b, better)
        if group == "evenness" and not apart:
            change = _fingered_otherwise(*measures) or _paced_otherwise(*passes) or change
        out.append(Comparison(what, a, b, change))
    return out


def longest_pass(store: Store, number: int) -> KeptPass:
    """The pass of a take that is compared.

    Raises:
        TakeError: there is no such take, or no pass was found in it.
    """
    passes = store.passes(take=number)
    if not passes:
        raise TakeError("no pass was found in it", f"take {number}", "nothing to compare")
    return max(passes, key=lambda p: p.last_note - p.first_note)


def say_compared(one: KeptPass, bars: str) -> str:
    """Which pass is compared: "take 12, pass 2: bars 5–8, left hand, 72 quarters a minute"."""
    hands = "both hands" if one.hands == "both" else f"{one.hands} hand"
    pace = f"{one.tempo_qpm:.0f} quarters a minute" if one.tempo_qpm else ""
    told = ", ".join(part for part in (bars, hands, pace) if part)
    return f"take {one.take}, pass {one.number}: {told}"


def _tell_apart(takes: Sequence[KeptTake], passes: Sequence[KeptPass]) -> Change | None:
    """Why nothing of two passes is compared; None where they are alike enough."""
    if takes[0].start.instrument != takes[1].start.instrument:
        return not_comparable()
    one, other = passes
    if one.hands != other.hands:
        return _not_alike("played with other hands", "")
    if one.span.to_bar < other.span.from_bar or other.span.to_bar < one.span.from_bar:
        return _not_alike("other bars were played", "")
    return None


def _paced_otherwise(one: KeptPass, other: KeptPass) -> Change | None:
    tempi = one.tempo_qpm, other.tempo_qpm
    if tempi[0] is None or tempi[1] is None or abs(tempi[1] / tempi[0] - 1) <= LIKE_TEMPO:
        return None
    words = f"at another tempo, {tempi[0]:.0f} against {tempi[1]:.0f} quarters a minute"
    return _not_alike(words, "ms")


def _not_alike(words: str, unit: str) -> Change:
    return Change("not comparable", no_estimate(words, unit), None, None, "", words)


def _fingered_otherwise(one: Mapping[str, Any], other: Mapping[str, Any]) -> Change | None:
    """What is said of a figure fingered in two ways; None where it is fingered alike."""
    told = [(m.get("evenness") or {}).get("fingering") or "none told" for m in (one, other)]
    if told[0] == told[1]:
        return None
    return _not_alike(f"another fingering, {told[0]} against {told[1]}", "ms")


def _estimates(
    measures: Sequence[Mapping[str, Any]], group: str, names: Sequence[str], unit: str
) -> tuple[Estimate, Estimate]:
    """One measure of both passes: the first that both have, else the first that either has."""
    pairs = [tuple(_estimate(m, group, name, unit) for m in measures) for name in names]
    pairs.sort(key=lambda pair: -sum(e.value is not None for e in pair))
    return pairs[0][0], pairs[0][1]


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
        return f"{estimate.value * 100:.1f} %"
    return f"{estimate.value:.1f} {estimate.unit}"
