"""The system's MIDI ports through python-rtmidi: ALSA, JACK, CoreMIDI, Windows."""

from __future__ import annotations

import contextlib
import functools
import os
import sys
import threading
import time
from collections.abc import Iterator, Mapping
from typing import Any

from practice.ports.jack_server import JACK
from practice.ports.port_names import OWN_CLIENT, others_of
from practice.ports.ports import ApiPorts, Callback, OpenOutput, OpenPort, PortError

#: Step of the driver's own times, by API. JACK hands messages over once a period (256 frames at
#: 48 kHz are 5.3 ms; the period in use cannot be asked for here); Windows counts milliseconds.
GRAIN_S = {"alsa": 0.0005, "core": 0.0005, "winmm": 0.001, "jack": 256 / 48000}


#: An API that was not there (a JACK server that does not run yet) is asked again this often.
ABSENT_S = 2.0


class RtmidiDriver:
    """The system's ports through python-rtmidi. One long-lived client an API looks at the names."""

    def __init__(self) -> None:
        # A JACK server is used where it runs, never started from here; set before the import.
        os.environ.setdefault("JACK_NO_START_SERVER", "1")
        import rtmidi

        self._rtmidi = rtmidi
        self.windows = sys.platform == "win32"
        self._watchers: dict[int, Any] = {}
        self._out_watchers: dict[int, Any] = {}
        self._problems: dict[int, str] = {}
        self._lock = threading.RLock()
        self._again_s = time.monotonic() + ABSENT_S
        for api in rtmidi.get_compiled_api():
            self._watch_api(api)

    def _watch_api(self, api: int) -> None:
        if api == self._rtmidi.API_RTMIDI_DUMMY:
            return
        try:
            with quiet_libraries():
                client = self._rtmidi.MidiIn(api, name=f"{OWN_CLIENT} watch")
            self._watchers[api] = client
            self._join_server(api, self)
        except OSError as error:
            self._problems[api] = _why_absent(self._rtmidi.get_api_name(api), str(error))

    def _watch_absent(self) -> None:
        """A refused client leaves nothing behind; one that is made stays."""
        if time.monotonic() >= self._again_s:
            absent, self._problems = list(self._problems), {}
            for api in absent:
                self._watch_api(api)
            self._again_s = time.monotonic() + ABSENT_S

    def _join_server(self, api: int, client: Any) -> None:
        if api == self._rtmidi.API_UNIX_JACK:
            with quiet_libraries():
                JACK.add(client)

    def server_ended(self) -> None:
        """Its names are listed no longer; it is asked again from now on."""
        api = self._rtmidi.API_UNIX_JACK
        self._out_watchers.pop(api, None)
        self._watchers.pop(api, None)
        self._problems[api] = "the JACK server has ended"
        self._again_s = time.monotonic() + ABSENT_S

    def inputs(self) -> list[str]:
        """Names of all inputs, API by API. Any thread may ask."""
        with self._lock:
            JACK.check()
            self._watch_absent()
            return [name for watcher in self._watchers.values() for name in _names(watcher)]

    def outputs(self) -> list[str]:
        """Names of all outputs, API by API. Any thread may ask."""
        with self._lock:
            JACK.check()
            self._watch_absent()
            return [name for api in self._watchers for name in self._output_names(api)]

    def _output_names(self, api: int) -> list[str]:
        if api not in self._out_watchers:
            try:
                with quiet_libraries():
                    client = self._rtmidi.MidiOut(api, name=f"{OWN_CLIENT} watch out")
            except OSError:  # it has gone since it was last looked at
                return []
            self._out_watchers[api] = client
            self._join_server(api, self)
        return _names(self._out_watchers[api])

    def list_apis(self) -> list[ApiPorts]:
        """What each API offers, our own ports left out."""
        with self._lock:
            JACK.check()
            found = [self._list_api(api) for api in self._watchers]
            missing = [
                ApiPorts(self._api_name(api), self._rtmidi.get_api_display_name(api), problem=why)
                for api, why in self._problems.items()
            ]
            return [*found, *missing]

    def _api_name(self, api: int) -> str:
        return str(self._rtmidi.get_api_name(api))

    def _list_api(self, api: int) -> ApiPorts:
        outputs = tuple(others_of(self._output_names(api)))
        inputs = tuple(others_of(_names(self._watchers[api])))
        title = self._rtmidi.get_api_display_name(api)
        return ApiPorts(self._api_name(api), title, inputs, outputs)

    def grain_s(self, name: str) -> float:
        """The step of an input's own times, by its API."""
        with self._lock:
            api = _api_with(name, {a: _names(w) for a, w in self._watchers.items()})
        return GRAIN_S.get(self._api_name(api), 0.001)

    def open_input(self, name: str, callback: Callback) -> OpenPort:
        """Open an input by its name as listed."""
        with self._lock:
            JACK.check()
            api = _api_with(name, {a: _names(w) for a, w in self._watchers.items()})
            port = self._rtmidi.MidiIn(api, name=OWN_CLIENT)
            # Every kind of message is taken: a driver that leaves some out loses their share of
            # the deltas. The inlet drops what is no key or pedal.
            port.ignore_types(sysex=False, timing=False, active_sense=False)
            port.set_callback(callback)
            _open(port, name, "keyboard")
            opened = _RtmidiInput(port)
            self._join_server(api, opened)
            return opened

    def open_output(self, name: str) -> OpenOutput:
        """Open an output by its name as listed.

        Raises:
            PortError: it is not there, or cannot be opened.
        """
        with self._lock:
            JACK.check()
            api = _api_with(name, {a: self._output_names(a) for a in self._watchers})
            port = self._rtmidi.MidiOut(api, name=OWN_CLIENT)
            _open(port, name, "out")
            opened = _RtmidiOutput(port)
            self._join_server(api, opened)
            return opened


@functools.cache
def system_driver() -> RtmidiDriver:
    """The one of this program: two would let go of a JACK server's clients behind each other."""
    return RtmidiDriver()


def _api_with(name: str, listed: Mapping[int, list[str]]) -> int:
    for api, names in listed.items():
        if name in names:
            return api
    raise PortError("no such MIDI port", name, "see: undersong ports")


def _open(port: Any, name: str, own_name: str) -> None:
    try:
        port.open_port(_names(port).index(name), name=own_name)
    except (OSError, ValueError) as error:
        port.delete()
        raise PortError("cannot be opened", name, "is another program using it?") from error


class _RtmidiInput:
    def __init__(self, port: Any) -> None:
        self._port = port
        self._lock = threading.Lock()

    def close(self) -> None:
        """Callback first: one that comes while the port closes would find it gone."""
        with self._lock:
            if self._port is not None:
                self._port.cancel_callback()
                self._port.close_port()
                self._port.delete()
                self._port = None

    def server_ended(self) -> None:
        """As at any end."""
        self.close()


#: A JACK server takes messages at its next period: closed sooner, the last ones are lost.
_LAST_WORDS_S = 0.1


class _RtmidiOutput:
    def __init__(self, port: Any) -> None:
        self._port = port
        # one thread plays while another may close it
        self._lock = threading.Lock()

    def send(self, data: bytes) -> None:
        """Send one message; a port that went away swallows it."""
        with self._lock:
            if self._port is not None:
                with contextlib.suppress(OSError):
                    self._port.send_message(data)

    def close(self) -> None:
        """Silence everything, then close."""
        if self._port is not None:
            for channel in range(16):
                self.send(bytes((0xB0 | channel, 64, 0)))
                self.send(bytes((0xB0 | channel, 123, 0)))
            time.sleep(_LAST_WORDS_S)
        self.server_ended()

    def server_ended(self) -> None:
        """Close it: there is nobody left to be told to be silent."""
        with self._lock:
            if self._port is not None:
                self._port.close_port()
                self._port.delete()
                self._port = None


def _names(client: Any) -> list[str]:
    try:
        return [str(name) for name in client.get_ports()]
    except (OSError, UnicodeError):
        return []


def _why_absent(api: str, error: str) -> str:
    known: Mapping[str, str] = {
        "alsa": "not there: no /dev/snd/seq; load the kernel module snd-seq",
        "jack": "no JACK server is running",
    }
    return known.get(api, " ".join(error.split()))


@contextlib.contextmanager
def quiet_libraries() -> Iterator[None]:
    """Keep C libraries from writing their own lines to standard error meanwhile."""
    try:
        kept = os.dup(2)
    except OSError:
        yield
        return
    sink = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(sink, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(sink)
