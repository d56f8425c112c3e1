"""`undersong drills`: the drills kept by name: listed, renamed, deleted."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from practice.environment import Environment, ExitStatus, find_places

if TYPE_CHECKING:
    from practice.drills.kept_sheets import KeptSheet

NAME = "drills"
HELP = "List the drills kept by name; rename or delete one."
EXAMPLE = 'undersong drills\n  undersong drills --rename "two bars" "left hand, slow"'


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    act = parser.add_mutually_exclusive_group()
    act.add_argument("--rename", metavar=("NAME", "NEW"), nargs=2, help="give a drill another name")
    act.add_argument("--delete", metavar="NAME", help="delete a drill; asks first")


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """List the drills, or do the one thing asked for with them."""
    from practice.drills.kept_sheets import FOLDER, rename_sheet

    folder = find_places(options.data, env.variables).data / FOLDER
    if options.rename:
        path = rename_sheet(folder, *options.rename)
        env.say(f"“{options.rename[0].strip()}” is now called “{path.stem}”.")
        return ExitStatus.DONE
    if options.delete is not None:
        return _delete(folder, options.delete, env)
    return _list(folder, env)


def _delete(folder: Path, name: str, env: Environment) -> ExitStatus:
    """Delete a drill after an answer; any other leaves it."""
    from practice.drills.kept_sheets import check_new_name, delete_sheet, list_sheets
    from practice.drills.sheet_file import DrillError

    name = check_new_name(name)
    found = next((one for one in list_sheets(folder) if one.name == name), None)
    if found is None:
        raise DrillError("no such drill", f'"{name}"', "see: undersong drills")
    env.say(f"“{name}”: {_say(found)} Delete it? It cannot be had back. yes or no")
    if env.stdin.readline().strip().casefold() == "yes":
        delete_sheet(folder, name)
        env.say(f"“{name}” is deleted.")
        return ExitStatus.DONE
    env.say("Left as it is.")
    return ExitStatus.FAILED


def _list(folder: Path, env: Environment) -> ExitStatus:
    from practice.drills.kept_sheets import list_sheets

    sheets = list_sheets(folder)
    if not sheets:
        env.say("No drills kept yet. In the window, c opens the list of drills and tab saves one.")
    for one in sheets:
        env.say(f"{one.name}: {_say(one)}")
    return ExitStatus.DONE


def _say(one: KeptSheet) -> str:
    """The drill in a line, or why it cannot be read."""
    from practice.drills.sheet_words import say_sheet

    return f"{say_sheet(one.sheet)}." if one.sheet else f"{one.trouble}."
