"""The simulated pianist at the keyboard: its events come as if from a port, in their own time."""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from engine.arrangement import Arrangement
from engine.performance import KeyEvent
from practice.clock import Clock
from practice.drill import Drill
from practice.listen.happenings import PulseBegan
from practice.player import CHARACTERS, perform
from practice.ports.ports import PortChange
from practice.snapshot import Command, Snapshot, State

PORT_NAME = "simulated pianist"
#: Before a free pass, and between two looks at the session.
BREATH_S, LOOK_S = 1.0, 0.05
#: The simulated pianist makes ready for a downbeat so long before it.
NEAR_S = 0.15
#: States in which a pass can be begun; a drill that moves on to other bars counts in by itself.
READY: tuple[State, ...] = ("waiting", "rest", "count-in")


class Instrumentalist(Protocol):
    """What the demo needs of a sitting."""

    @property
    def pulse(self) -> PulseBegan | None:
        """The strict pulse that runs now."""
        ...

    def hand_on(self, event: KeyEvent) -> None:
        """A message from the keyboard."""
        ...

    def port_changed(self, change: PortChange) -> None:
        """The keyboard came or went."""
        ...

    def tell(self, command: Command) -> None:
        """The player asked for something."""
        ...

    def snapshot(self) -> Snapshot:
        """The newest picture."""
        ...


@dataclass(frozen=True, slots=True)
class DemoPart:
    """What the simulated pianist is to do: who it is, its seed, how many passes (0: no end)."""

    character: str = "demo"
    seed: int = 1
    passes: int = 1


class DemoPlayer:
    """Plays the drill's span again and again on a thread of its own.

    Args:
        sitting: where it plays. arrangement, drill: what. part: how. clock: the session's clock.
    """

    def __init__(
        self,
        sitting: Instrumentalist,
        arrangement: Arrangement,
        drill: Drill,
        part: DemoPart,
        clock: Clock,
    ) -> None:
        self._sitting = sitting
        self._arrangement = arrangement
        self._drill = drill
        self._part = part
        self._clock = clock
        self._rng = np.random.default_rng(part.seed)
        #: Why it stopped playing, "" where it came to its end.
        self.problem = ""
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="demo", daemon=True)

    def start(self) -> None:
        """Sit down and begin."""
        self._sitting.port_changed(PortChange(PORT_NAME, True, self._clock.now_s()))
        self._thread.start()

    def stop(self) -> None:
        """Stop at once."""
        self._stop.set()
        self._thread.join(timeout=5.0)

    def _run(self) -> None:
        try:
            self._play_all()
        except Exception as error:
            self.problem = f"the simulated pianist failed ({type(error).__name__}: {error})"
        if not self._stop.is_set():
            self._sitting.tell(Command("quit"))

    def _play_all(self) -> None:
        done = 0
        while not self._stop.is_set() and (done < self._part.passes or not self._part.passes):
            self._play_once()
            done += 1

    def _play_once(self) -> None:
        if not self._wait_for(*READY):
            return
        self._drill = self._asked_for()
        start_s = None
        if self._drill.pulse_kind == "strict":
            start_s = self._begin_strict()
            self._drill = self._asked_for()
        for event in self._performance(start_s):
            if self._clock.wait(self._stop, event.time_s - self._clock.now_s()):
                return
            self._sitting.hand_on(event)
        self._wait_for(*READY, "ended")

    def _asked_for(self) -> Drill:
        """The drill as it stands now: a coach may have changed it."""
        now = self._sitting.snapshot()
        hands = self._drill.hands if self._drill.hands is None else now.hands
        return replace(
            self._drill, span=now.span, hands=hands, pulse_kind=now.pulse_kind, rate=now.rate
        )

    def _performance(self, start_s: float | None) -> list[KeyEvent]:
        drill = self._drill
        return perform(
            self._arrangement,
            CHARACTERS[self._part.character],
            self._rng,
            span=drill.span,
            hands=drill.hands or "both",
            start_s=self._clock.now_s() + BREATH_S if start_s is None else start_s,
            rate=drill.rate,
        )

    def _begin_strict(self) -> float | None:
        """Ask for the count-in where none runs yet; the moment of the downbeat, once it is near:
        until then it may be counted in anew."""
        if self._sitting.pulse is None:
            self._sitting.tell(Command("again"))
        while not self._stop.is_set():
            pulse, wait_s = self._sitting.pulse, LOOK_S
            if pulse is not None:
                wait_s = pulse.start_s - NEAR_S - self._clock.now_s()
                if wait_s <= 0:
                    return pulse.start_s
            self._clock.wait(self._stop, min(wait_s, LOOK_S))
        return None

    def _wait_for(self, *states: str) -> bool:
        """Wait until the session is in one of these states; False where it was stopped."""
        while self._sitting.snapshot().state not in states:
            if self._clock.wait(self._stop, LOOK_S):
                return False
        return True
