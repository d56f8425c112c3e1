"""What the window says, in words: short, exact, as a good teacher would."""

from __future__ import annotations

from engine.arrangement import Arrangement, Span
from practice.snapshot import PassRecord
from practice.window.view import View

_HANDS = {"left": "left hand", "right": "right hand", "both": "both hands"}


def name_bars(arrangement: Arrangement, span: Span) -> str:
    """As bars 5–8, bar 5, bars 5–8, 2nd time, or whole piece."""
    bars = arrangement.bars
    if span.from_bar == 0 and span.to_bar == len(bars) - 1:
        return "whole piece"
    first, last = bars[span.from_bar], bars[span.to_bar]
    text = f"bar {first.number}" if span.from_bar == span.to_bar else (
        f"bars {first.number}–{last.number}"
    )  # fmt: skip
    if first.time == last.time and first.time > 1:
        return f"{text}, {_ordinal(first.time)} time"
    if first.time != last.time:
        return f"{text} over the repeat"
    return text


def describe_task(view: View) -> str:
    """Span, hands, pulse."""
    snapshot = view.snapshot
    pulse = "free"
    if snapshot.pulse_kind == "strict":
        tempo = snapshot.arrangement.tempo_at(
            snapshot.arrangement.bars[snapshot.span.from_bar].onset_q
        )
        beats = tempo.qpm * snapshot.rate / float(tempo.beat_unit_q)
        pulse = f"strict, {beats:.0f} ({snapshot.rate * 100:.0f} %)"
    if snapshot.only_heard:
        pulse = pulse.removeprefix("strict, ") if snapshot.pulse_kind == "strict" else "as played"
    bars = name_bars(snapshot.arrangement, snapshot.span)
    if snapshot.from_memory:
        pulse += " · from memory"
    return f"{bars} · {_HANDS[snapshot.hands]} · {pulse}"


#: What the player can do now, by state and pulse ("" stands for either).
_STATES = {
    ("no-keyboard", ""): "Plug in a keyboard, or play on the computer’s letters",
    ("waiting", "free"): "Play when you are ready",
    ("waiting", "strict"): "Strike a key for the count-in",
    ("rest", "free"): "Again when you are ready",
    ("rest", "strict"): "Strike a key for the count-in",
    ("count-in", ""): "Count-in",
    ("playing", ""): "",
    ("listening", ""): "Playing it to you",
    ("ended", ""): "Done",
}


def describe_state(view: View) -> str:
    """One short line: what to do now. Nothing while the player plays."""
    if view.fingered is not None:
        return "Fingering: 1 to 5; 0 takes it away; ← → move; escape done"
    if view.snapshot.heard:
        return view.snapshot.heard
    state, pulse = view.snapshot.state, view.snapshot.pulse_kind
    known = _STATES.get((state, pulse), _STATES.get((state, "")))
    if known and view.snapshot.reason and state in ("waiting", "rest"):
        return f"{known}: {view.snapshot.reason}"
    return view.snapshot.state_text if known is None else known


def describe_keyboard(view: View) -> str:
    """The keyboard's name, or that there is none."""
    snapshot = view.snapshot
    if snapshot.only_heard:
        return ""
    if not snapshot.port:
        return "computer keys"
    return snapshot.port if snapshot.connected else f"{snapshot.port} is unplugged"


def describe_pass(record: PassRecord, arrangement: Arrangement) -> str:
    """Which pass, of what."""
    return f"pass {record.number} · {name_bars(arrangement, record.span)}"


def _ordinal(number: int) -> str:
    return {1: "1st", 2: "2nd", 3: "3rd"}.get(number, f"{number}th")
