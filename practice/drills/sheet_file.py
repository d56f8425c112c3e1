"""A drill's description as a file: TOML to write by hand, JSON for other programs."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any, get_args

from engine.drill import DrillSheet, Ladder
from engine.drill.sheet import Gesture, Order, Way
from engine.errors import UndersongError
from practice.whole_file import whole_file

_WORDS: dict[str, tuple[str, ...]] = {
    "pulse": ("free", "strict"), "order": get_args(Order), "gesture": get_args(Gesture),
    "way": get_args(Way),
}  # fmt: skip
_HANDS = ("left", "right", "both")
#: Rates may be written "60%".
_RATES = ("start", "goal", "slowest", "step", "least_step")
#: No less than this, by name; 0 for what is not here.
LEAST: dict[str, float] = {
    "start": 0.05, "goal": 0.05, "slowest": 0.05, "step": 0.001, "least_step": 0.001,
    "good_to_rise": 1, "poor_to_fall": 1, "enough_poor": 1, "enough_still": 1, "click_parts": 1,
}  # fmt: skip


class DrillError(UndersongError):
    """A drill that cannot be read or does not fit the arrangement."""


def read_sheet(path: str | Path) -> DrillSheet:
    """The drill in a .toml or .json file.

    Raises:
        DrillError: missing, not TOML or JSON, or something in it cannot be meant.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeError) as error:
        why = getattr(error, "strerror", None) or "not text"
        raise DrillError(f"cannot be read ({why})", str(path)) from error
    try:
        told = json.loads(text) if path.suffix.casefold() == ".json" else tomllib.loads(text)
    except ValueError as error:
        raise DrillError(f"not understood ({error})", str(path), "write it as TOML") from error
    return parse_sheet(told, str(path))


def write_sheet(path: str | Path, sheet: DrillSheet) -> None:
    """Write a drill, as the file's ending says.

    Raises:
        DrillError: the file cannot be written.
    """
    path = Path(path)
    is_json = path.suffix.casefold() == ".json"
    text = json.dumps(sheet_as_dict(sheet), indent=1) + "\n" if is_json else _toml(sheet)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with whole_file(path) as part:
            part.write_text(text, encoding="utf-8")
    except OSError as error:
        raise DrillError(f"cannot be written ({error.strerror})", str(path)) from error


def sheet_as_dict(sheet: DrillSheet) -> dict[str, Any]:
    """All that a drill says, as JSON would hold it."""
    told: dict[str, Any] = json.loads(json.dumps(asdict(sheet)))
    return told


def parse_sheet(told: object, where: str = "drill") -> DrillSheet:
    """The drill that a mapping describes; what is not said stays as usual.

    Raises:
        DrillError: an unknown name, or a value that cannot be meant.
    """
    if not isinstance(told, Mapping):
        raise DrillError("not a drill", where, 'begin with a line like: where = ["bars 5-8"]')
    ladder = told.get("ladder", {})
    if not isinstance(ladder, Mapping):
        raise DrillError("ladder is not a table", where, "write it under [ladder]")
    said = _read_fields(DrillSheet, {k: v for k, v in told.items() if k != "ladder"}, where)
    return DrillSheet(**said, ladder=Ladder(**_read_fields(Ladder, ladder, f"{where}, ladder")))


def _read_fields(kind: type, told: Mapping[str, Any], where: str) -> dict[str, Any]:
    usual = kind()
    names = {f.name for f in fields(kind)} - {"ladder"}
    out: dict[str, Any] = {}
    for name, value in told.items():
        if name not in names:
            raise DrillError(f"{name} is not known", where, f"known: {', '.join(sorted(names))}")
        out[name] = _read_value(name, value, getattr(usual, name), where)
    return out


def _read_value(name: str, value: Any, usual: Any, where: str) -> Any:
    """A value of the kind that is usual there."""
    if name in _RATES and isinstance(value, str) and value.strip().endswith("%"):
        value = _number(value.strip()[:-1], name, where) / 100
    if isinstance(usual, tuple):
        return _read_words(name, value, where)
    if isinstance(usual, bool) or isinstance(value, bool):
        good = isinstance(usual, bool) and isinstance(value, bool)
    elif isinstance(usual, str):
        good = isinstance(value, str) and value in _WORDS.get(name, (value,))
    else:
        kinds = (int,) if isinstance(usual, int) else (int, float)
        good = isinstance(value, kinds) and value >= LEAST.get(name, 0)
    if not good:
        raise DrillError(f"{name} cannot be {value!r}", where, _say_allowed(_WORDS.get(name)))
    return float(value) if isinstance(usual, float) else value


def _read_words(name: str, value: Any, where: str) -> tuple[str, ...]:
    words = (value,) if isinstance(value, str) else tuple(value or ())
    allowed = _HANDS if name == "hands" else None
    if not words or not all(isinstance(w, str) and (not allowed or w in allowed) for w in words):
        raise DrillError(f"{name} cannot be {value!r}", where, _say_allowed(allowed))
    return words


def _number(text: str, name: str, where: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise DrillError(f"{name} cannot be {text!r} %", where, 'write it like "60%"') from None


def _say_allowed(words: tuple[str, ...] | None) -> str:
    return f"one of: {', '.join(words)}" if words else "see the drill files that come with it"


def _toml(sheet: DrillSheet) -> str:
    told = sheet_as_dict(sheet)
    ladder = told.pop("ladder")
    return "\n".join([*_assign(told), "", "[ladder]", *_assign(ladder), ""])


def _assign(told: Mapping[str, Any]) -> list[str]:
    """Lines of TOML; its strings are JSON's but for the pairs that JSON makes of rare letters."""
    values = {name: json.dumps(value, ensure_ascii=False) for name, value in told.items()}
    return [f"{name} = {value}".replace("\x7f", "\\u007f") for name, value in values.items()]
