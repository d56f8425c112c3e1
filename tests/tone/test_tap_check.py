"""The delay to the ear from taps along with a click, and that what is played makes up for it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pytest

from practice.clock import ManualClock, SystemClock
from practice.ports.ports import Callback
from practice.sound import tap_check
from practice.sound.accompany import Accompanist
from practice.sound.instrument import MidiInstrument
from practice.sound.tap_check import APART_S, CLICKS, TO_LISTEN, find_delay, tap_along

TIMES = [10.0 + k * APART_S for k in range(CLICKS)]


def test_the_delay_is_the_median_of_the_taps() -> None:
    rng = np.random.default_rng(3)
    taps = [t + 0.070 + rng.normal(0.0, 0.02) for t in TIMES[TO_LISTEN:]]
    found = find_delay(TIMES, taps)
    assert found is not None
    assert found.delay_s == pytest.approx(0.070, abs=0.01)
    assert found.low_s < 0.070 < found.high_s
    assert found.taps == CLICKS - TO_LISTEN


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    rng = np.random.default_rng(4)
    held = 0
    for _ in range(400):
        found = find_delay(TIMES, [t + 0.05 + rng.normal(0.0, 0.02) for t in TIMES[TO_LISTEN:]])
        assert found is not None
        held += found.low_s <= 0.05 <= found.high_s
    assert held / 400 >= 0.93


def test_taps_while_listening_between_and_twice_do_not_count() -> None:
    on_time = [t + 0.03 for t in TIMES[TO_LISTEN:]]
    stray = [TIMES[0] + 0.2, *(t + 0.2 for t in on_time[:5])]
    found = find_delay(TIMES, sorted([*on_time, *stray]))
    assert found is not None
    assert found.delay_s == pytest.approx(0.03)


def test_a_few_taps_tell_nothing() -> None:
    assert find_delay(TIMES, TIMES[TO_LISTEN : TO_LISTEN + 5]) is None
    assert find_delay(TIMES, []) is None


class Output:
    def __init__(self) -> None:
        self.sent: list[tuple[float, bytes]] = []

    def send(self, data: bytes) -> None:
        self.sent.append((SystemClock().now_s(), data))

    def close(self) -> None:
        pass


class Loop:
    """A port whose every click is heard again as a struck key, so much later: a loopback."""

    windows = False
    late_s = 0.05

    def __init__(self, clock: ManualClock) -> None:
        self.clock = clock
        self.last_s = clock.now_s()
        self.inlet: Callback | None = None

    def open_input(self, name: str, callback: Callback) -> Output:
        self.inlet = callback
        return Output()

    def grain_s(self, name: str) -> float:
        return 0.0

    def add(self, events: Iterable[tuple[float, bytes]]) -> None:
        for at_s, data in events:
            self.clock.move_to(at_s + self.late_s)
            since_s, self.last_s = self.clock.now_s() - self.last_s, self.clock.now_s()
            assert self.inlet is not None
            self.inlet(([0x90 if data[0] & 0xF0 == 0x90 else 0x80, 60, 64], since_s), None)

    def close(self) -> None:
        pass


def test_a_loopback_is_heard_tap_for_click(monkeypatch: pytest.MonkeyPatch) -> None:
    loop = Loop(ManualClock(5.0))
    monkeypatch.setattr(tap_check, "Accompanist", lambda _instrument, _clock: loop)
    instrument = MidiInstrument(Output())
    found = tap_along(instrument, loop, "loop", loop.clock)  # type: ignore[arg-type]
    assert found is not None
    assert found.delay_s == pytest.approx(Loop.late_s, abs=1e-6)
    assert found.taps == CLICKS - TO_LISTEN


def test_what_is_sent_makes_up_for_the_delay() -> None:
    """Handed over so much before its moment as it takes from there to the ear."""
    clock, port = SystemClock(), Output()
    accompanist = Accompanist(MidiInstrument(port, output_latency_s=0.4), clock)
    due_s = clock.now_s() + 0.5
    accompanist.add([(due_s, b"\x90\x3c\x40")])
    while not port.sent and clock.now_s() < due_s + 5:
        pass
    accompanist.close()
    assert due_s - 0.4 <= port.sent[0][0]
    assert accompanist.lateness_s[0] >= 0.0
