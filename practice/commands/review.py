"""`undersong review`: say what was played in a recording made elsewhere, or in a kept take."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from practice.commands.options import add_span_options, read_drill
from practice.environment import Environment, ExitStatus, find_places

if TYPE_CHECKING:
    from engine.arrangement import Arrangement
    from engine.performance import Recording
    from engine.review import Review

NAME = "review"
HELP = "Say what was played in a MIDI recording, or in a kept take by its number."
EXAMPLE = "undersong review song.musicxml take.mid --bars 5-8 --json result.json"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("arrangement", metavar="ARRANGEMENT", help="the score file")
    parser.add_argument("take", metavar="TAKE", help="a MIDI file, or the number of a kept take")
    add_span_options(parser)
    parser.add_argument(
        "--live", action="store_true", help="follow it note by note, as it would have been heard"
    )
    parser.add_argument(
        "--matches", metavar="FILE", help="write which note was which (tab-separated)"
    )
    parser.add_argument(
        "--json", metavar="FILE", help="write the result as JSON; - for standard output"
    )
    parser.add_argument("--keep", action="store_true", help="keep the recording as a take")


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """Review one recording."""
    from engine.match_table import match_table
    from engine.result import result_json
    from practice.commands.output import write_json, write_text
    from practice.library import open_arrangement

    places = find_places(options.data, env.variables)
    arrangement = open_arrangement(options.arrangement, places.cache)
    recording = _read_take(options.take)
    review = _review(arrangement, recording, options)
    if options.matches:
        write_text(env, options.matches, match_table(arrangement, recording.notes, review.findings))
    if options.json:
        write_json(env, options.json, result_json(arrangement, review))
    if "-" not in (options.json, options.matches):
        _say_account(env, arrangement, review)
    return ExitStatus.DONE


def _read_take(named: str) -> Recording:
    from practice.recording import read_recording

    return read_recording(named)


def _review(arrangement: Arrangement, recording: Recording, options: argparse.Namespace) -> Review:
    from engine.review import review_take

    drill = read_drill(arrangement, options)
    whole = not (options.bars or options.section)
    return review_take(
        arrangement,
        recording,
        span=None if whole else drill.span,
        hands=drill.hands,
        live=options.live,
    )


def _say_account(env: Environment, arrangement: Arrangement, review: Review) -> None:
    pass
