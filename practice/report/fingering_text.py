"""Fingering set in the window, written into the score's sidecar; all else in it stays as it is."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from pathlib import Path

from engine.errors import UndersongError
from engine.read import read_arrangement
from engine.read.note_places import find_places, is_place
from engine.read.score_file import has_own_id
from engine.read.sidecar import read_sidecar, sidecar_bytes, sidecar_path
from practice.whole_file import whole_file

_HEADER = re.compile(r"\s*\[\s*fingering\s*\]\s*(#.*)?")
_TABLE = re.compile(r"\s*\[")
_BARE = re.compile(r"[A-Za-z0-9_-]+")


def put_finger(score_path: str | Path, note_id: str, fingering: str, place: str = "") -> Path:
    """Write the fingering of one note into a score's sidecar, and say where that is.

    Args:
        score_path: the score; its sidecar is made if it has none.
        note_id: a head's id. fingering: like "3" or "1-2"; "" takes the printed one away.
        place: the note's place and name (`engine.read.note_places.place_text`), by which it is
            written down where the file has no such id; "" for none.

    Raises:
        UndersongError: the sidecar cannot be read or written, or is not in order. It is as it was.
    """
    path = sidecar_path(score_path)
    before = sidecar_bytes(score_path)
    known = read_sidecar(before, str(path)).fingering
    if place and note_id not in known and not has_own_id(score_path, note_id):
        note_id = _known_place(score_path, note_id, known) or place
    after = with_finger(before.decode("utf-8"), note_id, fingering).encode("utf-8")
    _check(before, after, note_id, fingering, path)
    _replace(path, after)
    return path


def _known_place(score_path: str | Path, note_id: str, known: Iterable[str]) -> str:
    """The place under which the sidecar has that note already, "" if it has not."""
    places = [key for key in known if is_place(key)]
    found = find_places(read_arrangement(score_path), places) if places else {}
    return next((key for key, there in found.items() if there == note_id), "")


def with_finger(text: str, note_id: str, fingering: str) -> str:
    """A sidecar's text with the fingering of one note; comments and line ends are kept."""
    end = "\r\n" if "\r\n" in text else "\n"
    key = note_id if _BARE.fullmatch(note_id) else _quoted(note_id)
    entry = f'{key} = "{fingering}"'
    lines = text.split(end)
    header = next((k for k, line in enumerate(lines) if _HEADER.fullmatch(line)), None)
    if header is None:
        kept = text.rstrip()
        gap = end * 2 if kept else ""
        return f"{kept}{gap}[fingering]{end}{entry}{end}"
    return end.join(_put_entry(lines, header, note_id, fingering, entry))


def _put_entry(
    lines: list[str], header: int, note_id: str, fingering: str, entry: str
) -> list[str]:
    """Where the table has the note its value is changed, otherwise a line is added at its end."""
    bare, quoted = re.escape(note_id), re.escape(_quoted(note_id))
    own = re.compile(rf"""(\s*(?:{bare}|{quoted}|'{bare}')\s*=\s*)(?:"[^"]*"|'[^']*')(.*)""")
    last = header
    for k in range(header + 1, len(lines)):
        if _TABLE.match(lines[k]):
            break
        found = own.fullmatch(lines[k])
        if found:
            return [*lines[:k], f'{found[1]}"{fingering}"{found[2]}', *lines[k + 1 :]]
        if lines[k].strip():
            last = k
    rest = lines[last + 1 :] or [""]
    return [*lines[: last + 1], entry, *rest]


def _quoted(text: str) -> str:
    """A basic string of TOML."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped) + '"'


def _check(before: bytes, after: bytes, note_id: str, fingering: str, path: Path) -> None:
    """TOML can be written in more ways than are known here: what is not understood stays."""
    wanted = tomllib.loads(before.decode("utf-8"))
    wanted["fingering"] = {**wanted.get("fingering", {}), note_id: fingering}
    try:
        done = tomllib.loads(after.decode("utf-8")) == wanted
    except tomllib.TOMLDecodeError:
        done = False
    if not done:
        raise UndersongError(
            "the fingering in it is written in a way that cannot be added to",
            str(path),
            "write it as a table that begins with the line [fingering]",
        )
    read_sidecar(after, str(path))


def _replace(path: Path, data: bytes) -> None:
    try:
        with whole_file(path) as part:
            part.write_bytes(data)
    except OSError as error:
        raise UndersongError(f"cannot be written ({error.strerror})", str(path)) from error
