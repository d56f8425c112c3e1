"""Sections as text: how they stand, ready to be edited, and how `--sections` changes them."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from engine.arrangement import Arrangement
from engine.errors import UndersongError
from engine.read.overrides import bars_of
from engine.read.sidecar import Place, Stretch
from practice.whole_file import whole_file

_WANTED = re.compile(r"\s*([^=]+?)\s*=\s*([^\s@-]+)(?:-([^\s@-]+))?\s*(?:@(\d+))?\s*")
_TABLE = re.compile(r"^\s*\[", re.MULTILINE)
_SECTIONS = re.compile(r"\s*\[\[\s*sections\s*\]\]")
_COMMENT = re.compile(r"\s*#")


def sections_as_toml(arrangement: Arrangement) -> str:
    """The sections as found or told, as tables of a sidecar; what repeats bring again left out."""
    blocks = []
    for section in arrangement.form.sections:
        first, last = arrangement.bars[section.from_bar], arrangement.bars[section.to_bar - 1]
        if first.time == 1:
            blocks.append(_table(section.name, section.letter, first.number, last.number))
    return "\n".join(blocks)


def sections_from_words(wanted: Sequence[str], arrangement: Arrangement) -> str:
    """Tables for sections given as "NAME=5-8" (printed bar numbers).

    Raises:
        UndersongError: one is not written so, or names a bar that is not there.
    """
    known = {bar.number for bar in arrangement.bars}
    blocks = []
    for text in wanted:
        found = _WANTED.fullmatch(text)
        if not found:
            raise UndersongError(f"{text!r} is not a section", hint='write it like "Verse=5-12"')
        name, first, last, time = found.groups()
        last = last or first
        for bar in (first, last):
            if bar not in known:
                raise UndersongError(f"there is no bar {bar}", f"section {name}")
        again = f"@{time}" if time else ""
        stretch = Stretch(Place(first, int(time) if time else None), Place(last))
        if not bars_of(stretch, arrangement.bars):
            raise UndersongError(
                f"there are no bars from {first} to {last}{again}", f"section {name}"
            )
        blocks.append(_table(name, "", first + again, last + again))
    return "\n".join(blocks)


def _table(name: str, letter: str, first: str, last: str) -> str:
    quoted = name.replace("\\", "\\\\").replace('"', '\\"')
    lines = ["[[sections]]", f'name = "{quoted}"']
    if letter:
        lines.append(f'letter = "{letter}"')
    return "\n".join([*lines, f'from = "{first}"', f'to = "{last}"', ""])


def put_sections(path: Path, tables: str) -> None:
    """Write section tables into a sidecar; everything else in it stays as it is.

    Raises:
        UndersongError: the file cannot be read, written or added to. It is as it was.
    """
    try:
        text = path.read_bytes().decode("utf-8") if path.exists() else ""
        end = "\r\n" if "\r\n" in text else "\n"
        kept, new = without_sections(text).rstrip(), tables.replace("\n", end)
        after = f"{kept}{end}{end}{new}" if kept else new
        _check(text, after, tables, path)
        with whole_file(path) as part:
            part.write_bytes(after.encode("utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise UndersongError(f"cannot be changed ({reason})", str(path)) from error


def _check(before: str, after: str, tables: str, path: Path) -> None:
    """TOML can be written in more ways than are known here: what is not understood stays."""
    try:
        wanted = {**tomllib.loads(before), **tomllib.loads(tables)}
        done = tomllib.loads(after) == wanted
    except tomllib.TOMLDecodeError:
        done = False
    if not done:
        raise UndersongError(
            "the sections in it are written in a way that cannot be changed",
            str(path),
            "write each as a table that begins with the line [[sections]]",
        )


def without_sections(text: str) -> str:
    """A sidecar's text without its [[sections]] tables; comments that follow one are kept."""
    starts = [m.start() for m in _TABLE.finditer(text)]
    edges = [0, *starts, len(text)]
    parts = (text[a:b] for a, b in pairwise(edges))
    return "".join(_after_entries(p) if _SECTIONS.match(p) else p for p in parts)


def _after_entries(table: str) -> str:
    """The comments below the last entry of a table: they speak of what comes next."""
    lines = table.splitlines(keepends=True)
    last = max(k for k, line in enumerate(lines) if line.strip() and not _COMMENT.match(line))
    below = lines[last + 1 :]
    first = next((k for k, line in enumerate(below) if _COMMENT.match(line)), len(below))
    return "".join(below[first:])
