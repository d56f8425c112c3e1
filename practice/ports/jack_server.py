"""Whether the JACK server still runs, and what must be let go when it ends.

The MIDI library does not tell: names stay listed and nothing more is heard. The server's own
library does (`jack_on_shutdown`, JACK API), but to a client of our own only. It also frees every
client of a server that is gone as soon as the next one is asked for, so that whoever still has one
must let it go before: used or closed afterwards it ends the program.
"""

from __future__ import annotations

import ctypes
import threading
import weakref
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

#: `JackNoStartServer` of `jack_options_t`.
_NO_START = 0x01
_NAME = b"Undersong server"
_Shutdown = ctypes.CFUNCTYPE(None, ctypes.c_void_p)


class Client(Protocol):
    """Somebody with a client of the server."""

    def server_ended(self) -> None:
        """Let it go; nothing can be sent through it any longer."""
        ...


class JackServer:
    """The server this process is a client of, if any. Any thread may ask.

    Args:
        library: gives the server's library, None where there is none.
    """

    def __init__(self, library: Callable[[], Any | None]) -> None:
        self._library = library
        self._clients: weakref.WeakSet[Client] = weakref.WeakSet()
        self._ended = threading.Event()
        self._told = _Shutdown(lambda _: self._ended.set())  # the library keeps no reference
        self._own: int | None = None
        self._lock = threading.Lock()

    def add(self, client: Client) -> None:
        """It is told when the server ends."""
        with self._lock:
            self._clients.add(client)
            if self._own is None:
                self._watch()

    def check(self) -> None:
        """If the server has ended, let go of all that was its. Before any new client."""
        with self._lock:
            if not self._ended.is_set():
                return
            self._ended.clear()
            for client in list(self._clients):
                client.server_ended()
            self._clients.clear()
            library, own, self._own = self._library(), self._own, None
            if library and own:
                library.jack_client_close(own)

    def _watch(self) -> None:
        library = self._library()
        own = library and library.jack_client_open(_NAME, _NO_START, None)
        if library and own:
            library.jack_on_shutdown(own, self._told, None)
            self._own = own


def loaded_library() -> Any | None:
    """The JACK library that the MIDI library has brought along; None but on Linux."""
    try:
        mapped = Path("/proc/self/maps").read_text("utf-8", errors="replace").splitlines()
        path = next(line.split(maxsplit=5)[-1] for line in mapped if "/libjack" in line)
        library = ctypes.CDLL(path)
        library.jack_client_open.restype = ctypes.c_void_p
        library.jack_client_open.argtypes = [ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p]
        library.jack_on_shutdown.argtypes = [ctypes.c_void_p, _Shutdown, ctypes.c_void_p]
        library.jack_client_close.argtypes = [ctypes.c_void_p]
        # What it would print into the terminal is said in our own words. It calls this from its
        # own threads, so that it must not be Python's: a C function of a string that does nothing.
        library.jack_set_error_function.argtypes = [ctypes.c_void_p]
        library.jack_set_error_function(ctypes.cast(ctypes.CDLL(None).strlen, ctypes.c_void_p))
    except (OSError, StopIteration, AttributeError):
        return None
    return library


#: One process has one server: the library keeps its state for all clients together.
JACK = JackServer(loaded_library)
