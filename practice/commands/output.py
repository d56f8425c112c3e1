"""Where results go: files named by the player, or standard output."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, TextIO

from engine.errors import UndersongError
from practice.whole_file import whole_file

if TYPE_CHECKING:
    from practice.environment import Environment


def write_json(env: Environment, target: str, result: Any) -> None:
    """Write a result as JSON to a file, or to standard output for "-"."""
    write_text(
        env, target, json.dumps(result, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
    )


def write_text(env: Environment, target: str, text: str) -> None:
    """Write text to a file, or to standard output for "-".

    Raises:
        UndersongError: the file cannot be written.
    """
    if target == "-":
        _write_utf8(env.stdout, text)
        return
    try:
        with whole_file(target) as part:
            part.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise UndersongError(f"cannot be written ({error.strerror})", target) from error


def _write_utf8(stream: TextIO, text: str) -> None:
    """Files that leave the program are UTF-8, whatever the terminal's own encoding is."""
    raw = getattr(stream, "buffer", None)
    if raw is None:
        stream.write(text)
    else:
        stream.flush()
        raw.write(text.encode("utf-8"))
    stream.flush()
