"""Options for drills, and the coach that they ask for."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from engine.arrangement import Arrangement
    from engine.drill import DrillSheet
    from practice.drills.coach import Coach
    from practice.environment import Places


#: As in `engine.drill.sheet.Gesture`, which would load too much for a help text.
GESTURES = ("off", "soft-pedal", "lowest-key")


def add_drill_options(parser: argparse.ArgumentParser) -> None:
    """--drill and all that changes it; --save-drill, --drill-log."""
    group = parser.add_argument_group("drill")
    group.add_argument(
        "--drill", metavar="FILE|NAME",
        help="a drill from a file, or one of: ladder, alternate, backwards, anywhere, twins,"
        " weakest, hands, memory, run-through; --bars, --hands, --tempo and --passes change it",
    )  # fmt: skip
    group.add_argument(
        "--where", metavar="PLACE", action="append", default=[],
        help='places by turns: "bars 5-8", "section A", "phrase A 2", "twins 1", "slip 3",'
        ' "weakest 2", "whole"; may be given more than once',
    )  # fmt: skip
    group.add_argument(
        "--overlap", metavar="BARS", type=_count, help="play on so many bars, for the join"
    )
    group.add_argument(
        "--rest-beats", metavar="N", type=_count, help="between passes; 0: straight on the beat"
    )
    group.add_argument(
        "--gesture", choices=GESTURES,
        help='what means "again", and twice at once "on to the next"; off unless set',
    )  # fmt: skip
    group.add_argument(
        "--break-after", metavar="MIN", type=_count,
        help="minutes of playing after which a rest is proposed (25); 0: never",
    )  # fmt: skip
    group.add_argument("--save-drill", metavar="FILE", help="write the drill as set here to a file")
    group.add_argument("--drill-log", metavar="FILE", help="write what was asked and how it went")


def make_coach(
    options: argparse.Namespace, places: Places, arrangement: Arrangement
) -> Coach | None:
    """The coach of the drill asked for, None where none was.

    Raises:
        DrillError, SpanError: the drill cannot be read, or does not fit the arrangement.
    """
    if not (options.drill or _is_changed(options)):
        return None
    from practice.drills.coach import Coach
    from practice.drills.kept_sheets import FOLDER, find_sheet
    from practice.drills.known import read_weaknesses
    from practice.drills.places import find_places
    from practice.drills.sheet_file import write_sheet

    kept = places.data / FOLDER
    named = find_sheet(options.drill, kept) if options.drill else _plain(options)
    sheet = _change(named, options, arrangement)
    if options.save_drill:
        write_sheet(options.save_drill, sheet)
    known = read_weaknesses(places, arrangement)
    return Coach(sheet, arrangement, find_places(arrangement, sheet, known))


def _count(text: str) -> int:
    """A whole number from 0 on."""
    if not text.isdigit():
        raise argparse.ArgumentTypeError(f"{text!r} is not a number from 0 on")
    return int(text)


def _is_changed(options: argparse.Namespace) -> bool:
    """Something that only a drill has was asked for."""
    set_ones = (options.overlap, options.rest_beats, options.gesture, options.break_after)
    return bool(options.where) or any(value is not None for value in set_ones)


def _plain(options: argparse.Namespace) -> DrillSheet:
    """A drill without a name: round and round at one tempo, free unless a pulse is asked for."""
    from engine.drill import DrillSheet, Ladder

    strict = options.pulse == "strict" or (options.tempo and not options.pulse)
    return DrillSheet(pulse="strict" if strict else "free", ladder=Ladder("level", start=1.0))


def _change(sheet: DrillSheet, options: argparse.Namespace, arrangement: Arrangement) -> DrillSheet:
    """The drill with what else was said on the command line."""
    if options.bars or options.section:
        where = f"bars {options.bars}" if options.bars else f"section {options.section}"
        sheet = replace(sheet, where=(where,))
    if options.where:
        sheet = replace(sheet, where=tuple(options.where))
    for name in ("overlap", "rest_beats", "gesture"):
        if getattr(options, name) is not None:
            sheet = replace(sheet, **{name: getattr(options, name)})
    if options.break_after is not None:
        sheet = replace(sheet, break_after_min=float(options.break_after))
    if options.hands:
        sheet = replace(sheet, hands=(options.hands,))
    if options.pulse:
        sheet = replace(sheet, pulse=options.pulse)
    if options.passes:
        sheet = replace(sheet, passes=options.passes)
    if options.tempo:
        from engine.arrangement import whole_span
        from practice.drill import find_rate

        goal = find_rate(arrangement, whole_span(arrangement), options.tempo)
        start = min(sheet.ladder.start, goal)
        sheet = replace(sheet, ladder=replace(sheet.ladder, goal=goal, start=start))
    return sheet
