"""A MIDI output that may go and come back, as the cable of a digital piano does."""

from __future__ import annotations

import threading
from typing import Protocol

from practice.ports.port_names import PortSeen, choose_name
from practice.ports.ports import WATCH_S, OpenOutput, PortError
from practice.sound.sounding import Sounding


class OutputDriver(Protocol):
    """Names and opening of outputs; a test has its own."""

    windows: bool

    def outputs(self) -> list[str]:
        """Names of all outputs there are now."""
        ...

    def open_output(self, name: str) -> OpenOutput:
        """Open an output by its name as listed. Raises PortError."""
        ...


class Outlet:
    """An output that is watched, and opened again when it is back.

    Args:
        driver: the system's ports.
        wanted: a part of its name.

    Raises:
        PortError: there is none of that name, or it cannot be opened.
    """

    def __init__(self, driver: OutputDriver, wanted: str) -> None:
        self._driver = driver
        self._wanted = wanted
        self._name = ""
        self._seen = PortSeen("", (), driver.windows)
        # What was sent to it and has not ended: a cable that is pulled leaves it sounding.
        self._sounding = Sounding()
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._port = self._open_one_of(driver.outputs())
        if self._port is None:
            raise PortError("no such MIDI output", wanted, "see: undersong ports")
        self._thread = threading.Thread(target=self._watch, name="outlet", daemon=True)
        self._thread.start()

    @property
    def problem(self) -> str:
        """Why nothing is heard, "" where it should be."""
        if self._port is not None or self._stop.is_set():
            return ""
        return f"no sound: {self._name} is unplugged; plug it in again, nothing is lost"

    def send(self, data: bytes) -> None:
        """Send one message now; while the port is gone it is lost."""
        with self._lock:
            if self._port is not None:
                self._port.send(data)
                self._sounding.hear(data)

    def look(self) -> None:
        """Look at the names once: notice that it went, or open it again."""
        names = self._driver.outputs()
        if self._port is not None and not self._seen.is_there(names):
            self._let_go()
        if self._port is None and (port := self._open_one_of(names)) is not None:
            with self._lock:
                # what was begun before the cable was pulled has had no end
                for data in self._sounding.endings():
                    port.send(data)
                self._sounding = Sounding()
                self._port = port

    def close(self) -> None:
        """End the watch and close the port. May be called twice."""
        self._stop.set()
        self._thread.join(5.0)
        self._let_go()

    def _let_go(self) -> None:
        with self._lock:
            port, self._port = self._port, None
        if port is not None:
            port.close()

    def _watch(self) -> None:
        while not self._stop.wait(WATCH_S):
            try:
                self.look()
            except Exception:  # the next look may go well
                continue

    def _open_one_of(self, names: list[str]) -> OpenOutput | None:
        """The same one before any other of the name that was asked for."""
        windows = self._driver.windows
        same = choose_name(names, self._name, windows=windows) if self._name else None
        name = same or choose_name(names, self._wanted, windows=windows)
        if name is None:
            return None
        port = self._driver.open_output(name)
        self._name, self._seen = name, PortSeen(name, names, windows)
        return port
