"""Keyboards as calibrated, kept by the name of their port: a JSON file beside the takes."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from engine.errors import UndersongError
from engine.measure.instrument import Instrument, profile_of, read_profile
from practice.ports.port_names import lasting_name, normalise_name
from practice.whole_file import whole_file

if TYPE_CHECKING:
    from practice.store.kept import TakeStart


class ProfileError(UndersongError):
    """The file of calibrated keyboards cannot be read or written."""


@dataclass(frozen=True, slots=True)
class Profiles:
    """The calibrated keyboards, as they were read."""

    told: Mapping[str, Any] = field(default_factory=dict)

    def of(self, port: str) -> Instrument | None:
        """The keyboard on a port as calibrated; None if it never was, or cannot be read."""
        try:
            return read_profile(self.told[_key(port)]) if port else None
        except (KeyError, TypeError, ValueError):
            return None


def read_profiles(path: Path) -> Profiles:
    """All keyboards calibrated so far.

    None where the file cannot be read: judging goes on with what is usual, and `keep_profile`
    says what is wrong with the file.
    """
    try:
        return Profiles(_read_all(path))
    except ProfileError:
        return Profiles()


def find_profile(path: Path, port: str) -> Instrument | None:
    """The keyboard on one port as calibrated, None as in `Profiles.of`."""
    return read_profiles(path).of(port)


def instrument_of(start: TakeStart, path: Path) -> Instrument | None:
    """The keyboard as calibrated when a take was played; else as it was calibrated since."""
    return start.profile or find_profile(path, start.instrument)


def name_instrument(port: str) -> str:
    """What a keyboard is called in what is kept of it, however often it is plugged in anew."""
    return lasting_name(port, windows=sys.platform == "win32")


def keep_profile(path: Path, port: str, instrument: Instrument) -> None:
    """Keep what was found, in place of an earlier one; the file is written whole or not at all.

    Raises:
        ProfileError: the file cannot be read (it is left as it is) or not be written.
    """
    kept = _read_all(path)
    kept[_key(port)] = profile_of(instrument)
    text = json.dumps(kept, indent=1, ensure_ascii=False) + "\n"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with whole_file(path) as part:
            part.write_text(text, encoding="utf-8")
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
