"""The simulated pianist in a drill: it plays to the count-in that is there."""

from __future__ import annotations

import threading
from dataclasses import replace

from engine.arrangement import Arrangement, Span
from engine.performance import KeyEvent
from practice.drill import Drill
from practice.listen.demo import DemoPart, DemoPlayer
from practice.listen.happenings import PulseBegan
from practice.ports.ports import PortChange
from practice.snapshot import Command, Snapshot
from tests.window.staging import waiting

SPAN = Span(2, 3)


class WaitedClock:
    """Stands still but for those who wait."""

    def __init__(self) -> None:
        self.at_s = 0.0

    def now_s(self) -> float:
        return self.at_s

    def wait(self, event: threading.Event, timeout_s: float) -> bool:
        self.at_s += max(timeout_s, 0.0)
        return event.is_set()


class CountedIn:
    """A sitting that counts in by itself, as one does whose drill has moved on to other bars."""

    def __init__(self, arrangement: Arrangement) -> None:
        self.pulse = PulseBegan((3.0, 4.0), 5.0, SPAN, "both", 1.0)
        self.heard: list[KeyEvent] = []
        self.told: list[Command] = []
        self._snapshot = waiting(
            arrangement, SPAN, state="count-in", pulse_kind="strict", hands="both"
        )

    def hand_on(self, event: KeyEvent) -> None:
        self.heard.append(event)
        self._snapshot = replace(self._snapshot, state="ended")

    def port_changed(self, change: PortChange) -> None:
        pass

    def tell(self, command: Command) -> None:
        self.told.append(command)

    def snapshot(self) -> Snapshot:
        return self._snapshot


def test_a_count_in_that_runs_is_played_to_and_not_asked_for_again(shift: Arrangement) -> None:
    sitting = CountedIn(shift)
    drill = Drill(SPAN, "both", "strict", 1.0)
    player = DemoPlayer(sitting, shift, drill, DemoPart("steady", 1, 1), WaitedClock())
    player.start()
    player._thread.join(30)
    assert not player._thread.is_alive()
    assert player.problem == ""
    assert [command.kind for command in sitting.told] == ["quit"]
    assert abs(sitting.heard[0].time_s - 5.0) < 0.1
