"""`undersong takes`: the kept takes: listed, marked, compared, deleted."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from practice.commands.options import positive_count
from practice.environment import Environment, ExitStatus, Places, find_places

if TYPE_CHECKING:
    from engine.arrangement import Span
    from practice.store.kept import KeptTake
    from practice.store.store import Store

NAME = "takes"
HELP = "List the kept takes; mark, compare or delete them."
EXAMPLE = "undersong takes song.musicxml --since 2026-03-01\n  undersong takes --compare 12 40"

_HEAD = ("take", "when", "length", "notes", "passes", "good", "", "arrangement")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("arrangement", metavar="ARRANGEMENT", nargs="?", help="only takes of it")
    only = parser.add_argument_group("which")
    only.add_argument("--since", metavar="DATE", type=_date, help="from this day on: 2026-03-01")
    only.add_argument("--until", metavar="DATE", type=_date, help="up to this day")
    only.add_argument("--keepers", action="store_true", help="only those marked as keepers")
    only.add_argument("--good", action="store_true", help="only those with a good pass")
    act = parser.add_mutually_exclusive_group()
    take: dict[str, Any] = {"metavar": "TAKE", "type": positive_count}
    act.add_argument("--keep", **take, help="mark a take as a keeper")
    act.add_argument("--unkeep", **take, help="take the mark away")
    act.add_argument("--compare", **take, nargs=2, help="two takes side by side")
    act.add_argument("--delete", **take, help="delete a take; asks twice")
    parser.add_argument(
        "--json", metavar="FILE", help="write the list as JSON; - for standard output"
    )


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """List the takes, or do the one thing asked for with them."""
    if options.keep or options.unkeep or options.compare or options.delete:
        return _act(options, env)
    return _list(options, env)


def _date(text: str) -> str:
    from datetime import date

    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day; write it 2026-03-01") from None


def _act(options: argparse.Namespace, env: Environment) -> ExitStatus:
    from engine.errors import TakeError
    from practice.store.store import Store

    places = find_places(options.data, env.variables)
    number = options.keep or options.unkeep or options.delete or options.compare[0]
    if not places.store.exists():
        raise TakeError("there is no such take", f"take {number}", "nothing was kept yet")
    with Store(places.store) as store:
        if options.compare:
            return _compare(options.compare, store, places, env)
        if options.delete:
            return _delete(number, store, env)
        store.take(number)
        store.mark_keeper(number, bool(options.keep))
    return ExitStatus.DONE


def _compare(numbers: list[int], store: Store, places: Places, env: Environment) -> ExitStatus:
    from practice.report.take_comparison import (
        compare_takes,
        longest_pass,
        say_compared,
        say_comparison,
    )

    lines = compare_takes(store, *numbers)
    for number in numbers:
        one = longest_pass(store, number)
        env.say(say_compared(one, _name_bars(store.take(number), one.span, places)))
    for line in lines:
        env.say(say_comparison(line))
    return ExitStatus.DONE


def _name_bars(take: KeptTake, span: Span, places: Places) -> str:
    """The printed bars of a pass; "" where the score is no longer the one it was played from."""
    from engine.errors import UndersongError
    from practice.drill import name_span
    from practice.library import open_arrangement

    try:
        arrangement = open_arrangement(take.start.path, places.cache)
    except UndersongError:
        return ""
    same = arrangement.content_hash == take.start.content_hash
    return name_span(arrangement, span) if same else ""


def _delete(number: int, store: Store, env: Environment) -> ExitStatus:
    """Delete a take after two answers; anything else leaves it."""
    from practice.store.take_deletion import delete_take

    take = store.take(number)
    when = take.start.started.strftime("%Y-%m-%d %H:%M")
    env.say(f"Take {number}, {take.start.title}, {when}, {take.notes} notes. Delete it? yes or no")
    if env.stdin.readline().strip().casefold() == "yes":
        env.say(f"It cannot be had back. Type its number, {number}, to delete it.")
        if env.stdin.readline().strip() == str(number):
            delete_take(store, number)
            env.say(f"Take {number} is deleted.")
            return ExitStatus.DONE
    env.say("Left as it is.")
    return ExitStatus.FAILED


def _list(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """List the takes."""
    from practice.commands.output import write_json
    from practice.library import open_arrangement
    from practice.store.store import Store

    places = find_places(options.data, env.variables)
    content_hash = ""
    if options.arrangement:
        content_hash = open_arrangement(options.arrangement, places.cache).content_hash
    takes: list[KeptTake] = []
    kept = 0
    if places.store.exists():
        with Store(places.store) as store:
            for take in store.recover(env.now()):
                env.warn(f"Recovered take {take.number}: {take.notes} notes")
            every = store.takes(content_hash)
            takes, kept = [t for t in every if _is_wanted(t, options)], len(every)
    if options.json:
        write_json(env, options.json, [_as_json(take) for take in takes])
    if options.json != "-":
        _say_takes(env, takes, kept)
    return ExitStatus.DONE


def _is_wanted(take: KeptTake, options: argparse.Namespace) -> bool:
    day = take.start.started.date().isoformat()
    return (
        (not options.since or day >= options.since)
        and (not options.until or day <= options.until)
        and (not options.keepers or take.keeper)
        and (not options.good or take.good_passes > 0)
    )


def _as_json(take: KeptTake) -> dict[str, Any]:
    start = take.start
    return {
        "take": take.number,
        "arrangement": {"title": start.title, "hash": start.content_hash, "path": start.path},
        "started": start.started.isoformat(timespec="milliseconds"),
        "length_s": round(take.length_s, 3),
        "notes": take.notes,
        "passes": take.passes,
        "good_passes": take.good_passes,
        "source": start.source,
        "instrument": start.instrument or None,
        "state": take.state,
        "keeper": take.keeper,
        "hands": start.hands,
        "pulse": start.pulse_kind,
        "rate": round(start.rate, 4),
        "from_bar": start.span.from_bar,
        "to_bar": start.span.to_bar,
    }


def _say_takes(env: Environment, takes: list[KeptTake], kept: int) -> None:
    if kept and not takes:
        env.say(f"None of the {kept} kept is such a take. See all: undersong takes")
        return
    if not takes:
        env.say("No takes yet. undersong play ARRANGEMENT keeps one each time you play.")
        return
    rows = [_HEAD, *(_row(take) for take in takes)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(_HEAD))]
    for row in rows:
        cells = [
            cell.ljust(width) if i in (1, 6, 7) else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        env.say("  ".join(cells).rstrip())


def _row(take: KeptTake) -> tuple[str, ...]:
    start = take.start
    minutes, seconds = divmod(round(take.length_s), 60)
    notable = {"recovered": "recovered", "open": "being played"}.get(take.state, "")
    notable = "keeper" if take.keeper else notable or {"demo": "demo"}.get(start.source, "")
    return (
        str(take.number),
        start.started.strftime("%Y-%m-%d %H:%M"),
        f"{minutes}:{seconds:02}",
        str(take.notes),
        str(take.passes),
        str(take.good_passes),
        notable,
        start.title,
    )
