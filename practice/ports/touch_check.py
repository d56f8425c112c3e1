"""Calibrating a keyboard: what to play, hearing it, and what came of it in plain words."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence

from engine.measure.instrument import USUAL_BITE, USUAL_CLEAR, Instrument, calibrate
from engine.performance import KeyEvent, pair_notes
from practice.clock import Clock
from practice.ports.ports import Driver, Inlet
from practice.ports.stamps import StampClock

#: Nothing heard for this long: nobody plays, or the player is done.
PATIENCE_S, QUIET_S = 30.0, 6.0
_LOOK_S = 0.2

ASKED = (
    "Play, in any order, and stop if anything hurts:",
    "  a dozen octaves or more with one hand, some with a louder top, some alike;",
    "  one key again and again, from your softest to your loudest;",
    "  the damper pedal slowly down and up, with a short rest where notes begin to ring on and"
    " another where they ring fully.",
    f"It ends {QUIET_S:.0f} seconds after you do.",
)


def hear_keyboard(driver: Driver, clock: Clock, name: str) -> list[KeyEvent]:
    """All that comes from an input until it is quiet. Raises PortError if it cannot be opened."""
    events: list[KeyEvent] = []
    stamps = StampClock(driver.grain_s(name))
    port = driver.open_input(name, Inlet(clock, stamps, events.append))
    try:
        _wait_for_quiet(clock, lambda: len(events))
    finally:
        port.close()
    return events


def _wait_for_quiet(clock: Clock, count: Callable[[], int]) -> None:
    never, heard, since_s = threading.Event(), 0, clock.now_s()
    while clock.now_s() - since_s < (QUIET_S if heard else PATIENCE_S):
        clock.wait(never, _LOOK_S)
        if count() != heard:
            heard, since_s = count(), clock.now_s()


def read_touch(events: Sequence[KeyEvent], name: str) -> Instrument | None:
    """The keyboard from what was played on it; None where no key was struck."""
    recording = pair_notes(list(events))
    if not recording.notes:
        return None
    return calibrate(recording.notes, recording.pedals, name)


def describe(instrument: Instrument) -> list[str]:
    """What was found, a line for each thing."""
    low, high = instrument.touch_range
    return [
        f"Touch: your softest was {low}, your loudest {high} (of 1 to 127).",
        _slope_line(instrument),
        _pedal_line(instrument),
        f"Time: a key's time is known to within {instrument.stamp_uncertainty_ms:.1f} ms.",
    ]


def _slope_line(instrument: Instrument) -> str:
    slope = instrument.split_ms_per_velocity
    if slope.value is None or slope.low is None or slope.high is None:
        return f"Louder notes come earlier: by how much is not known ({slope.reason})."
    return (
        f"A note one step louder comes {slope.value:.2f} ms earlier"
        f" (95 %: {slope.low:.2f} to {slope.high:.2f}; {slope.n} octaves)."
    )


def _pedal_line(instrument: Instrument) -> str:
    if instrument.pedal_steps < 2:
        return "Pedal: not heard; the usual values are taken."
    if instrument.pedal_steps == 2:
        return "Pedal: a switch, either up or down."
    points = f"dampers lift from {instrument.bite} and are clear at {instrument.clear}"
    if (instrument.bite, instrument.clear) == (USUAL_BITE, USUAL_CLEAR):
        points = f"no two rests on the way, so the usual is taken: {points}"
    return f"Pedal: {instrument.pedal_steps} steps; {points}."
