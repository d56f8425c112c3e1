"""The player's arrangements, opened quickly: what was read once is kept, and read again only when
the score, its sidecar or the program has changed."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
import zlib
from pathlib import Path

import engine.form
import engine.read
from engine.arrangement import Arrangement
from engine.read import read_score_bytes
from engine.read.score_file import read_bytes
from engine.read.sidecar import sidecar_bytes
from practice.store.columns import Packer, Unpacker

#: Raised when the way an arrangement is kept changes.
KEPT_FORM = 1
#: Arrangements kept; the longest unwritten go first.
MAX_KEPT = 200


def open_arrangement(
    path: str | os.PathLike[str], cache_dir: str | os.PathLike[str]
) -> Arrangement:
    """Read an arrangement, or take it from the cache if neither it nor the reader has changed.

    A damaged or missing cache entry is read afresh and written again; a cache that cannot be
    written is done without.

    Raises:
        ScoreError: the score or its sidecar cannot be read.
    """
    name = os.fspath(path)
    data, sidecar = read_bytes(path), sidecar_bytes(name)
    kept = Path(cache_dir) / f"{_key(data, sidecar, name)}.json"
    arrangement = _take(kept)
    if arrangement is None:
        arrangement = read_score_bytes(data, name, sidecar)
        _keep(kept, arrangement)
    return arrangement


def _key(data: bytes, sidecar: bytes, name: str) -> str:
    """What the arrangement depends on: both files, the title taken from the name, the program."""
    parts = (data, sidecar, Path(name).stem.encode(), _program())
    digests = b"".join(hashlib.sha256(part).digest() for part in parts)
    return hashlib.sha256(digests).hexdigest()[:40]


def _program() -> bytes:
    """A fingerprint of the code that reads scores and finds their form: name, size and time."""
    lines = [str(KEPT_FORM)]
    for package in (engine.read, engine.form):
        folder = Path(package.__file__ or "").parent
        for entry in sorted(os.scandir(folder), key=lambda e: e.name):
            if entry.name.endswith(".py"):
                status = entry.stat()
                lines.append(f"{entry.name} {status.st_size} {status.st_mtime_ns}")
    return "\n".join(lines).encode()


def _take(kept: Path) -> Arrangement | None:
    """The arrangement kept in a file; None if there is none or it is damaged."""
    try:
        check, _, body = kept.read_bytes().partition(b"\n")
        return unpack_arrangement(body) if check == _check(body) else None
    except (OSError, ValueError, KeyError, IndexError, TypeError):
        return None


def _keep(kept: Path, arrangement: Arrangement) -> None:
    """Write an arrangement so that a reader sees all of it or nothing."""
    body = pack_arrangement(arrangement)
    try:
        kept.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=kept.parent, suffix=".part", delete=False) as file:
            part = Path(file.name)
            try:
                file.write(_check(body) + b"\n" + body)
                file.flush()
            except OSError:
                part.unlink(missing_ok=True)  # a disk that is full gets no fuller
                raise
        os.replace(part, kept)
        _prune(kept.parent)
    except OSError:
        return


def _prune(folder: Path) -> None:
    entries = sorted(folder.glob("*.json"), key=lambda entry: entry.stat().st_mtime_ns)
    for entry in entries[:-MAX_KEPT]:
        entry.unlink(missing_ok=True)


def _check(body: bytes) -> bytes:
    return b"%08x" % zlib.crc32(body)


def pack_arrangement(arrangement: Arrangement) -> bytes:
    """An arrangement as JSON text in bytes."""
    packer = Packer()
    table = packer.pack(arrangement, Arrangement)
    text = json.dumps({"fractions": packer.fractions, "arrangement": table}, separators=(",", ":"))
    return text.encode()


def unpack_arrangement(body: bytes) -> Arrangement:
    """The arrangement that was packed, equal to it in every field.

    Raises:
        ValueError, KeyError, IndexError, TypeError: the bytes are no packed arrangement.
    """
    table = json.loads(body)
    arrangement: Arrangement = Unpacker(table["fractions"]).unpack(
        table["arrangement"], Arrangement
    )
    return arrangement
