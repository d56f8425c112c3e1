"""Keyboards as calibrated, kept by the name of their port: a JSON file beside the takes."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

from engine.errors import UndersongError
from engine.measure.instrument import Instrument, profile_of, read_profile
from practice.ports.port_names import normalise_name


class ProfileError(UndersongError):
    """The file of calibrated keyboards cannot be read or written."""


def find_profile(path: Path, port: str) -> Instrument | None:
    """The keyboard on a port as calibrated; None if it never was, or cannot be read.

    Judging goes on with what is usual; `keep_profile` says what is wrong with the file.
    """
    if not port:
        return None
    try:
        return read_profile(_read_all(path)[_key(port)])
    except (KeyError, TypeError, ValueError, ProfileError):
        return None


def keep_profile(path: Path, port: str, instrument: Instrument) -> None:
    """Keep what was found, in place of an earlier one; the file is written whole or not at all.

    Raises:
        ProfileError: the file cannot be read (it is left as it is) or not be written.
    """
    kept = _read_all(path)
    kept[_key(port)] = profile_of(instrument)
    part = path.with_suffix(".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(json.dumps(kept, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        os.replace(part, path)
    except OSError as error:
        raise ProfileError(f"cannot be written ({error.strerror})", str(path)) from error


def _key(port: str) -> str:
    return normalise_name(port, windows=sys.platform == "win32")


def _read_all(path: Path) -> dict[str, Any]:
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as error:
        raise ProfileError("cannot be read and was left", str(path), "move it away") from error
    if not isinstance(told, dict):
        raise ProfileError("is no object and was left", str(path), "move it away")
    return told
