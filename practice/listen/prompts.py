"""The one line that tells the player what the session is waiting for or doing."""

from __future__ import annotations

from engine.arrangement import Arrangement, Hands
from practice.drill import Drill, name_span
from practice.listen.session import Picture


def say_state(arrangement: Arrangement, picture: Picture) -> str:
    """A short line for the player."""
    drill = picture.drill
    what = f"{name_span(arrangement, drill.span)}, {say_hands(drill.hands)}"
    why = f" ({drill.reason})" if drill.reason else ""
    if picture.state == "no-keyboard":
        return "No keyboard: connect one and switch it on"
    if picture.state == "count-in":
        return f"Count-in{why}"
    if picture.state == "playing":
        return f"Listening: {what}"
    if picture.state == "listening":
        return f"Playing to you: {picture.heard or what}"
    if picture.state == "ended":
        return f"Done{why}"
    if drill.pulse_kind == "strict":
        return f"Strike any key for the count-in: {what}{why}"
    again = "again when you are ready" if picture.state == "rest" else "play when you are ready"
    return f"{what}: {again}{why}"


def say_hands(hands: Hands | None) -> str:
    """Which hands, in words."""
    if hands is None or hands == "both":
        return "both hands" if hands else "either or both hands"
    return f"{hands} hand"


def say_span(arrangement: Arrangement, drill: Drill) -> str:
    """Span, hands and pulse in words."""
    pulse = "free pulse"
    if drill.pulse_kind == "strict":
        mark = arrangement.tempo_at(arrangement.bars[drill.span.from_bar].onset_q)
        beats = mark.qpm / float(mark.beat_unit_q) * drill.rate
        pulse = f"strict pulse, {beats:.0f} beats a minute ({drill.rate:.0%} of the mark)"
    return f"{name_span(arrangement, drill.span)}, {say_hands(drill.hands)}, {pulse}"
