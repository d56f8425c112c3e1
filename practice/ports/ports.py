"""MIDI ports: the keyboard in, notes out. Opened live with python-rtmidi, API by API.

The driver calls an `Inlet` for each message; a `Keyboard` watches the list of names, opens the
chosen port when it appears and notices when it goes.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from engine.errors import UndersongError
from engine.performance import KeyEvent, is_channel_message
from practice.clock import Clock
from practice.ports.port_names import PortSeen, choose_name
from practice.ports.stamps import StampClock

#: How often the list of names is looked at.
WATCH_S = 0.5


class PortError(UndersongError):
    """A MIDI port that is not there or cannot be opened."""


@dataclass(frozen=True, slots=True)
class ApiPorts:
    """What one of the system's MIDI interfaces offers; `problem` says why nothing."""

    api: str
    title: str
    inputs: tuple[str, ...] = ()
    outputs: tuple[str, ...] = ()
    problem: str = ""


class OpenPort(Protocol):
    """A port that is open."""

    def close(self) -> None:
        """Close it; may be called twice."""
        ...


class OpenOutput(OpenPort, Protocol):
    """An output that is open."""

    def send(self, data: bytes) -> None:
        """Send one message now."""
        ...


Callback = Callable[[tuple[Sequence[int], float], Any], None]


class Driver(Protocol):
    """Names and opening of ports; a test has its own."""

    windows: bool

    def inputs(self) -> list[str]:
        """Names of all inputs there are now."""
        ...

    def grain_s(self, name: str) -> float:
        """The step of an input's own times, seconds."""
        ...

    def open_input(self, name: str, callback: Callback) -> OpenPort:
        """Open an input. Raises PortError."""
        ...


class Inlet:
    """What the driver calls for each message: stamp it and hand it on, nothing else.

    Args:
        clock: where now comes from.
        stamps: of this opening of the port.
        hand_on: takes the stamped event at once and never waits.
    """

    def __init__(
        self, clock: Clock, stamps: StampClock, hand_on: Callable[[KeyEvent], None]
    ) -> None:
        self._clock = clock
        self._stamps = stamps
        self._hand_on = hand_on
        self.failures = 0

    def __call__(self, heard: tuple[Sequence[int], float], _data: Any = None) -> None:
        """One message with its delta. A failure is counted, for nobody would see it raised."""
        now_s = self._clock.now_s()
        try:
            message, delta_s = heard
            time_s, uncertainty_s = self._stamps.stamp(now_s, delta_s)
            if message and is_channel_message(data := bytes(message)):
                self._hand_on(KeyEvent(time_s, uncertainty_s, data))
        except Exception:
            self.failures += 1


@dataclass(frozen=True, slots=True)
class PortChange:
    """The keyboard came (connected) or went; `time_s` on the session's clock."""

    name: str
    connected: bool
    time_s: float


class Keyboard:
    """The player's keyboard: opened when it is there, watched, opened again when it comes back.

    Args:
        driver: the system's ports.
        clock: where now comes from.
        hand_on: takes each stamped event, on the driver's thread.
        changed: told of coming and going, on the watcher's thread.
        wanted: a part of the name; nothing else is opened. remembered: tried before others.
    """

    def __init__(
        self,
        driver: Driver,
        clock: Clock,
        hand_on: Callable[[KeyEvent], None],
        changed: Callable[[PortChange], None],
        wanted: str = "",
        remembered: str = "",
    ) -> None:
        self._driver = driver
        self._clock = clock
        self._hand_on = hand_on
        self._changed = changed
        self._wanted = wanted
        self._remembered = remembered
        self._name = ""
        self._port: OpenPort | None = None
        self._inlet: Inlet | None = None
        self._failures_before = self._failed_looks = 0
        self._seen = PortSeen("", (), driver.windows)
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._watch, name="keyboard", daemon=True)

    @property
    def name(self) -> str:
        """The port that is open, "" if none."""
        return self._name if self._port else ""

    @property
    def last_name(self) -> str:
        """The port that is or was open last, "" if none ever."""
        return self._name

    @property
    def failures(self) -> int:
        """Callbacks and looks at the ports that failed so far; should stay 0."""
        return self._callbacks_failed() + self._failed_looks

    def start(self) -> None:
        """Open the keyboard if it is there and begin to watch."""
        self.look()
        self._thread.start()

    def want(self, name: str) -> None:
        """Change to another keyboard, by a part of its name."""
        with self._lock:
            self._wanted = name
            self._leave()
        self._try_to_look()

    def stop(self) -> None:
        """Close the port and end the watch."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(timeout=5.0)
        with self._lock:
            self._close()

    def look(self) -> None:
        """Look at the names once: notice what came and what went."""
        with self._lock:
            names = self._driver.inputs()
            if self._port and not self._seen.is_there(names):
                self._leave()
            if not self._port:
                self._open_one_of(names)

    def _watch(self) -> None:
        while not self._stop.wait(WATCH_S):
            self._try_to_look()

    def _try_to_look(self) -> None:
        """The next look may go well: no failure ends the watch."""
        try:
            self.look()
        except PortError:
            pass
        except Exception:
            self._failed_looks += 1

    def _callbacks_failed(self) -> int:
        return self._failures_before + (self._inlet.failures if self._inlet else 0)

    def _open_one_of(self, names: Sequence[str]) -> None:
        remembered = self._name or self._remembered
        name = choose_name(names, self._wanted, remembered, self._driver.windows)
        if name is None:
            return
        try:
            inlet = Inlet(self._clock, StampClock(self._driver.grain_s(name)), self._hand_on)
            self._port = self._driver.open_input(name, inlet)
        except PortError:
            return  # it went between looking and opening; the next look will tell
        self._inlet, self._name = inlet, name
        self._seen = PortSeen(name, names, self._driver.windows)
        self._changed(PortChange(name, True, self._clock.now_s()))

    def _leave(self) -> None:
        if self._port:
            self._close()
            self._changed(PortChange(self._name, False, self._clock.now_s()))

    def _close(self) -> None:
        if self._port:
            self._port.close()
            self._port = None
        self._failures_before, self._inlet = self._callbacks_failed(), None
