"""What the player has set, kept from one day to the next: a JSON file beside the takes.

A file that cannot be read is left alone and said; practising goes on with what is usual. Under
"definitions" it may hold any number of `engine.standing.Definitions` by its name:

    {"definitions": {"right_share": 0.95, "secure_days": 3}}
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from engine.standing import DEFINITIONS, Definitions
from practice.whole_file import whole_file


@dataclass(frozen=True, slots=True)
class Settings:
    """The settings.

    Attributes:
        keyboard: name of the input used last, taken first when several are there.
        output: name of the output for click and other hand, "" for the built-in sound.
        output_latency_ms: from the built-in sound's buffers to the ear, as the player found it.
        port_latency_ms: from a message sent to a MIDI output to the ear, likewise.
        sound_font: the file of a SoundFont instead of the built-in piano, "" for none.
        count_in_beats: before a strict pass; None for one bar.
        window: what the window keeps for itself, by name.
        definitions: what makes a pass good and a section steady, up to tempo, secure.
    """

    keyboard: str = ""
    output: str = ""
    output_latency_ms: float = 0.0
    port_latency_ms: float = 0.0
    sound_font: str = ""
    count_in_beats: int | None = None
    window: dict[str, Any] = field(default_factory=dict)
    definitions: Definitions = DEFINITIONS


_KINDS: dict[str, tuple[type, ...]] = {
    "keyboard": (str,), "output": (str,), "output_latency_ms": (int, float),
    "port_latency_ms": (int, float), "sound_font": (str,),
    "count_in_beats": (int, type(None)), "window": (dict,),
}  # fmt: skip


_DEFINED = frozenset(f.name for f in fields(Definitions))
_SHARES = ("right_share", "strict_beat_share", "band_tempo", "steady_tempo")


def load_settings(path: Path) -> tuple[Settings, list[str]]:
    """The settings, and one line for each thing in the file that could not be used."""
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return Settings(), []
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else "not JSON"
        return Settings(), [f"{path}: settings cannot be read ({why}); the usual ones hold"]
    if not isinstance(told, dict):
        return Settings(), [f"{path}: settings are not an object; the usual ones hold"]
    good: dict[str, Any] = {
        name: value for name, value in told.items() if isinstance(value, _KINDS.get(name, ()))
    }
    bad = [k for k in told if k in _KINDS and k not in good]
    definitions, unlike = _read_definitions(told.get("definitions", {}))
    warnings = [f"{path}: {name} cannot be used; the usual one holds" for name in bad + unlike]
    return Settings(**good, definitions=definitions), warnings


def _read_definitions(told: Any) -> tuple[Definitions, list[str]]:
    """The definitions, and the names of what cannot be meant."""
    if not isinstance(told, dict):
        return DEFINITIONS, ["definitions"]
    good = {name: value for name, value in told.items() if _is_definition(name, value)}
    return replace(DEFINITIONS, **good), [
        f"definitions.{name}" for name in told if name not in good
    ]


def _is_definition(name: str, value: Any) -> bool:
    """A known name with a number above 0 of its kind; shares are at most 1, counts whole."""
    usual = getattr(DEFINITIONS, name, None) if name in _DEFINED else None
    if usual is None or isinstance(value, bool) or not isinstance(value, (int, float)):
        return False
    if isinstance(usual, int) and not isinstance(value, int):
        return False
    return 0 < value < (1.0001 if name in _SHARES else 1e6)


def _unusual(definitions: Definitions) -> dict[str, float]:
    """Only what was set: what is usual may improve."""
    told = asdict(definitions)
    return {name: value for name, value in told.items() if value != getattr(DEFINITIONS, name)}


def save_settings(path: Path, settings: Settings) -> str:
    """Write the settings, whole or not at all; "" or one line on why not.

    What a newer program keeps in the file under other names stays there.
    """
    kept: dict[str, Any] = {}
    try:
        kept = dict(json.loads(path.read_text(encoding="utf-8")))
    except FileNotFoundError:
        pass
    except (OSError, ValueError, TypeError):
        return f"{path}: settings cannot be read and were left as they are"
    kept.update(asdict(settings), definitions=_unusual(settings.definitions))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        text = json.dumps(kept, indent=1, ensure_ascii=False) + "\n"
        with whole_file(path) as part:
            part.write_text(text, encoding="utf-8")
    except OSError as error:
        return f"{path}: settings cannot be kept ({error.strerror})"
    return ""
