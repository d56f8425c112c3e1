"""Sections as text: how they stand, ready to be edited, and how `--sections` changes them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from engine.arrangement import Arrangement
from engine.errors import UndersongError

_WANTED = re.compile(r"\s*([^=]+?)\s*=\s*([^\s@-]+)(?:-([^\s@-]+))?\s*(?:@(\d+))?\s*")
_TABLE = re.compile(r"^\s*\[", re.MULTILINE)


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
        UndersongError: the file cannot be read or written.
    """
    try:
        text = path.read_text("utf-8") if path.exists() else ""
        kept = without_sections(text).rstrip()
        path.write_text(f"{kept}\n\n{tables}" if kept else tables, "utf-8", newline="\n")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise UndersongError(f"cannot be changed ({reason})", str(path)) from error


def without_sections(text: str) -> str:
    """A sidecar's text without its [[sections]] tables."""
    starts = [m.start() for m in _TABLE.finditer(text)]
    edges = [0, *starts, len(text)]
    parts = [text[a:b] for a, b in pairwise(edges)]
    return "".join(p for p in parts if not p.lstrip().startswith("[[sections]]"))
