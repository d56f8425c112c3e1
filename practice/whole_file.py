"""Files that leave the program, written whole or not at all: a full disk costs no older file."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def whole_file(path: str | Path) -> Iterator[Path]:
    """Where to write what shall stand at `path`; it is moved there when the block is done.

    If the block raises, what was at `path` is still there and nothing of the new file is. A link is
    followed, so that the file it leads to is the one changed; what is no file (a pipe, a terminal)
    is written to as it is.

    Raises:
        OSError: the file, or its folder, cannot be written.
    """
    target = Path(os.path.realpath(path))
    if target.exists() and not target.is_file():
        yield target
        return
    if target.exists() and not os.access(target, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
    part = target.with_name(f"{target.name}.part")
    try:
        yield part
        if target.exists():
            part.chmod(target.stat().st_mode & 0o777)
        os.replace(part, target)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
