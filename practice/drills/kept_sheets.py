"""Drills kept by name: listed, found and saved, for the command line, the plan and the window."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from engine.drill import DrillSheet
from practice.drills.ready_made import READY_MADE
from practice.drills.sheet_file import DrillError, read_sheet, write_sheet

#: In the folder of the takes.
FOLDER = "drills"
#: As long as a name may be, so that it can be read in a list and written by every file system.
LONGEST_NAME = 40
#: Names of the plan's own, which it writes anew every day.
PLANNED = "today-"
_ENDINGS = (".toml", ".json")
#: Letters, figures, spaces and a few signs that mean nothing to a file system or a shell's path.
_NAME = re.compile(r"^[\w][\w '(),+.&–-]*$")
#: Names that some systems keep for devices, whatever their ending.
_DEVICES = re.compile(r"^(con|prn|aux|nul|com\d|lpt\d)(\..*)?$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class KeptSheet:
    """One of them. `sheet`: None where it cannot be read; `trouble` then says why."""

    name: str
    sheet: DrillSheet | None = None
    trouble: str = ""


def check_name(name: str) -> str:
    """The name without the spaces round it.

    Raises:
        DrillError: it cannot be the name of a kept drill; the line says why.
    """
    name = name.strip()
    why = _why_not(name)
    if why:
        raise DrillError(
            f"a drill’s name {why}", f'"{name}"', 'call it for example "left hand slow"'
        )
    return name


def _why_not(name: str) -> str:
    if not name:
        return "cannot be empty"
    if "/" in name or "\\" in name:
        return "cannot hold a slash"
    if name.casefold().endswith(_ENDINGS):
        return "cannot end in .toml or .json, as files do"
    if name.startswith("."):
        return "cannot begin with a full stop"
    if len(name) > LONGEST_NAME:
        return f"cannot be longer than {LONGEST_NAME} letters"
    if _NAME.match(name) is None or name.endswith(".") or _DEVICES.match(name):
        return "is of letters, figures, spaces and hyphens"
    return ""


def check_new_name(name: str) -> str:
    """The name, where the player may save under it.

    Raises:
        DrillError: as `check_name`, or the name is one of Undersong's own.
    """
    name = check_name(name)
    if name in READY_MADE:
        raise DrillError("there is a drill of that name already", f'"{name}"', "add a word to it")
    if name.startswith(PLANNED):
        raise DrillError("the plan writes drills of that name anew", f'"{name}"', "take another")
    return name


def keep_sheet(folder: Path, name: str, sheet: DrillSheet) -> Path:
    """Write a drill under a name, over one that had it before; the file.

    Raises:
        DrillError: not a name for it, or it cannot be written; what was there is then still there.
    """
    path = folder / f"{check_new_name(name)}.toml"
    aside = folder / f".{path.name}"
    write_sheet(aside, sheet)
    try:
        aside.replace(path)
    except OSError as error:
        raise DrillError(f"cannot be written ({error.strerror})", str(path)) from error
    return path


def delete_sheet(folder: Path, name: str) -> None:
    """Let go of a kept drill.

    Raises:
        DrillError: it is none of the player's own, or it cannot be deleted.
    """
    path = folder / f"{check_new_name(name)}.toml"
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise DrillError(f"cannot be deleted ({error.strerror})", str(path)) from error


def rename_sheet(folder: Path, old: str, new: str, sheet: DrillSheet | None = None) -> Path:
    """Give a kept drill another name; never over one that has it. The file.

    Args:
        sheet: the drill as it shall be kept from now on; None: as it is.

    Raises:
        DrillError: there is none of that name or none of the player's own, the new name cannot be
            had, or it cannot be written; the drill is then still there.
    """
    old, new = check_new_name(old), check_new_name(new)
    path, target = folder / f"{old}.toml", folder / f"{new}.toml"
    if not path.exists():
        raise DrillError("no such drill", f'"{old}"', "see: undersong drills")
    names = {one.name.casefold() for one in list_sheets(folder) if one.name != old}
    if new.casefold() in names:
        raise DrillError("there is a drill of that name already", f'"{new}"', "take another")
    try:
        path.rename(target)
    except OSError as error:
        raise DrillError(f"cannot be renamed ({error.strerror})", str(path)) from error
    kept = sheet or _read(target).sheet
    return keep_sheet(folder, new, replace(kept, name=new)) if kept else target


def list_sheets(folder: Path) -> tuple[KeptSheet, ...]:
    """Those in a folder by name, what the plan wrote for today first."""
    paths = [p for p in folder.glob("*.toml") if not p.name.startswith(".")]
    return tuple(_read(path) for path in sorted(paths, key=_order))


def _order(path: Path) -> tuple[bool, int, str]:
    """The plan's by number (today-2 before today-10), the player's own by letter."""
    planned = path.stem.startswith(PLANNED)
    return not planned, len(path.stem) * planned, path.stem.casefold()


def _read(path: Path) -> KeptSheet:
    try:
        return KeptSheet(path.stem, read_sheet(path))
    except DrillError as error:
        return KeptSheet(path.stem, trouble=str(error))


def find_sheet(
    named: str, folder: Path, ready: Mapping[str, DrillSheet] = READY_MADE
) -> DrillSheet:
    """A file as named, one kept by that name, or a ready-made one.

    Raises:
        DrillError: there is none, or it cannot be read.
    """
    if Path(named).suffix.casefold() in _ENDINGS or Path(named).is_file():
        return read_sheet(named)
    kept = folder / f"{check_name(named)}.toml"
    if kept.exists():
        return read_sheet(kept)
    if named in ready:
        return ready[named]
    others = [one.name for one in list_sheets(folder) if not one.name.startswith(PLANNED)]
    raise DrillError(
        "no such drill", named, f"name a file, or one of: {', '.join([*others, *ready])}"
    )
