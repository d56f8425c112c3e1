"""A disk with no room left, made with the limit that the system sets to a file's size."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest


@contextmanager
def full_disk(room_bytes: int) -> Iterator[None]:
    """No file may grow beyond so many bytes; a write beyond is refused, as by a full disk."""
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (room_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
