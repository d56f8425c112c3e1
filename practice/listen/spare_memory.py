"""Memory that is free goes back to the system.

The C library of Linux keeps what was freed, in pieces between what is still held, and a process
that judges pass after pass grew by twenty megabytes an hour of nothing but such pieces.
"""

from __future__ import annotations

import ctypes
import sys

#: `mallopt` of glibc (malloc.h): from which size on memory is asked of the system by itself, and
#: how many heaps threads may have.
_MMAP_THRESHOLD, _ARENA_MAX = -3, -8
#: A word as a picture is as large. Named, the threshold stays, where otherwise it rises to the
#: largest ever freed.
LARGE_BYTES = 32 * 1024
HEAPS = 2


def keep_pieces_few() -> None:
    """Before threads begin: large arrays each by themselves, and few heaps for the rest."""
    _call("mallopt", _MMAP_THRESHOLD, LARGE_BYTES)
    _call("mallopt", _ARENA_MAX, HEAPS)


def give_back() -> None:
    """Hand it back, where the system has a call for that; takes some milliseconds."""
    _call("malloc_trim", 0)


def _call(name: str, *values: int) -> None:
    if sys.platform == "linux":
        function = getattr(ctypes.CDLL(None), name, None)  # musl has none of them
        if function is not None:
            function(*values)
