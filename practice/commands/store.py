"""`undersong store`: check the take store, copy it, put a copy back, salvage a damaged one."""

from __future__ import annotations

import argparse
from pathlib import Path

from practice.environment import Environment, ExitStatus, find_places

NAME = "store"
HELP = "Check the take store, back it up, restore it, or salvage a damaged one."
EXAMPLE = "undersong store --check\n  undersong store --backup takes-backup.db"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    one = parser.add_mutually_exclusive_group(required=True)
    one.add_argument("--check", action="store_true", help="read all of it and say what is damaged")
    one.add_argument("--backup", metavar="FILE", help="copy it, even while it is in use")
    one.add_argument(
        "--restore", metavar="FILE", help="put a copy in its place; the present one is kept aside"
    )
    one.add_argument(
        "--judge",
        metavar="ARRANGEMENT",
        help="judge its takes again with this edition of the program; old judgements are kept",
    )
    parser.add_argument(
        "--every", action="store_true",
        help="with --judge: also what this edition judged, as after a change of the definitions",
    )  # fmt: skip
    one.add_argument("--salvage", metavar="FILE", help="copy what can still be read to a new store")


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """Do the one thing asked for."""
    from practice.store import store_care

    path = find_places(options.data, env.variables).store
    if options.check:
        return _check(env, path)
    if options.backup:
        size = store_care.back_up(path, Path(options.backup))
        env.say(f"{options.backup}: {size} bytes")
    elif options.judge:
        return _judge(env, path, options)
    elif options.restore:
        aside = store_care.restore(path, Path(options.restore), env.now())
        env.say(f"{path}: restored from {options.restore}")
        if aside:
            env.say(f"{aside}: the store that was there before")
    else:
        return _salvage(env, path, Path(options.salvage))
    return ExitStatus.DONE


def _check(env: Environment, path: Path) -> ExitStatus:
    from practice.store.store_care import check_store

    check = check_store(path)
    many = check.notes >= 10_000
    each = f", {check.size / check.notes:.1f} bytes a note" if many else ""
    env.say(f"{path}: {check.takes} takes, {check.notes} notes, {check.size} bytes{each}")
    for trouble in check.troubles:
        env.say(f"  damaged: {trouble}")
    if check.sound:
        env.say("  sound")
        return ExitStatus.DONE
    env.warn(f"undersong: {path}: is damaged; see: undersong store --salvage NEW.db")
    return ExitStatus.FAILED


def _judge(env: Environment, path: Path, options: argparse.Namespace) -> ExitStatus:
    from practice.commands.settings_told import read_definitions
    from practice.library import open_arrangement
    from practice.store.rejudging import find_outdated, judge_again
    from practice.store.store import Store

    places = find_places(options.data, env.variables)
    arrangement = open_arrangement(options.judge, places.cache)
    told = read_definitions(places, env)
    with Store(path) as store:
        outdated = find_outdated(store, arrangement, every=options.every)
        for take, before, after in judge_again(store, arrangement, outdated, env.now(), told):
            env.say(f"take {take.number}: {before} passes before, {after} now")
    env.say(f"{len(outdated)} takes judged again")
    return ExitStatus.DONE


def _salvage(env: Environment, path: Path, target: Path) -> ExitStatus:
    from practice.store.store_care import salvage

    result = salvage(path, target)
    rows = ", ".join(f"{count} {table}" for table, count in result.saved.items())
    env.say(f"{target}: saved {rows}")
    for line in result.lost:
        env.say(f"  {line}")
    if not result.lost:
        env.say("  nothing is lost")
    return ExitStatus.DONE
