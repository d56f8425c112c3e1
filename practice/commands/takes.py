"""`undersong takes`: the kept takes, oldest first."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from practice.environment import Environment, ExitStatus, find_places

if TYPE_CHECKING:
    from practice.kept import KeptTake

NAME = "takes"
HELP = "List the kept takes."
EXAMPLE = "undersong takes song.musicxml"

_HEAD = ("take", "when", "length", "notes", "passes", "good", "", "arrangement")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("arrangement", metavar="ARRANGEMENT", nargs="?", help="only takes of it")
    parser.add_argument(
        "--json", metavar="FILE", help="write the list as JSON; - for standard output"
    )


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """List the takes."""
    from practice.commands.output import write_json
    from practice.library import open_arrangement
    from practice.store import Store

    places = find_places(options.data, env.variables)
    content_hash = ""
    if options.arrangement:
        content_hash = open_arrangement(options.arrangement, places.cache).content_hash
    takes: list[KeptTake] = []
    if places.store.exists():
        with Store(places.store) as store:
            for take in store.recover(env.now()):
                env.warn(f"Recovered take {take.number}: {take.notes} notes")
            takes = store.takes(content_hash)
    if options.json:
        write_json(env, options.json, [_as_json(take) for take in takes])
    if options.json != "-":
        _say_takes(env, takes)
    return ExitStatus.DONE


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


def _say_takes(env: Environment, takes: list[KeptTake]) -> None:
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
