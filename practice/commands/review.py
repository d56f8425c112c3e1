"""`undersong review`: say what was played in a recording made elsewhere, or in a kept take."""

from __future__ import annotations

import argparse
import os
from typing import TYPE_CHECKING

from practice.commands.options import add_span_options, read_drill
from practice.environment import Environment, ExitStatus, Places, find_places

if TYPE_CHECKING:
    from engine.arrangement import Arrangement
    from engine.measure.instrument import Instrument
    from engine.performance import KeyEvent, Pulse, Recording
    from engine.review import Review
    from practice.store.kept import KeptTake

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
    from engine.performance import pair_notes
    from engine.result import result_json
    from practice.commands.output import write_json, write_text
    from practice.library import open_arrangement
    from practice.ports.instrument_profiles import instrument_of

    places = find_places(options.data, env.variables)
    arrangement = open_arrangement(options.arrangement, places.cache)
    events, kept = _read_take(options.take, places)
    instrument = instrument_of(kept.start, places.instruments) if kept else None
    review = _review(arrangement, pair_notes(events), kept, options, instrument)
    if options.matches:
        notes = review.recording.notes
        write_text(env, options.matches, match_table(arrangement, notes, review.findings))
    if options.json:
        write_json(env, options.json, result_json(arrangement, review))
    if "-" not in (options.json, options.matches):
        _say_account(env, arrangement, review)
    if options.keep:
        pulse = review.passes[0].pulse if review.passes else None
        number = _keep(options, env, places, arrangement, events, pulse)
        (env.warn if "-" in (options.json, options.matches) else env.say)(f"Kept as take {number}.")
    return ExitStatus.DONE


def _read_take(named: str, places: Places) -> tuple[list[KeyEvent], KeptTake | None]:
    """The events of a file, or of a kept take by its number."""
    from practice.store.kept_takes import read_take
    from practice.store.recording import read_recording_events

    if named.isdigit() and not os.path.exists(named):
        kept, events = read_take(places, int(named))
        return events, kept
    return read_recording_events(named), None


def _review(
    arrangement: Arrangement,
    recording: Recording,
    kept: KeptTake | None,
    options: argparse.Namespace,
    instrument: Instrument | None,
) -> Review:
    """Review with what the options say; for a kept take, what they leave open is as it was."""
    from engine.review import review_take

    drill = read_drill(arrangement, options)
    span = drill.span if options.bars or options.section else None
    hands = drill.hands
    if kept is not None and kept.start.content_hash == arrangement.content_hash:
        span, hands = span or kept.start.span, hands or kept.start.hands
    review = review_take(
        arrangement, recording, span=span, hands=hands, live=options.live, instrument=instrument
    )
    if drill.pulse_kind == "free":
        return review
    pulse = find_pulse(arrangement, review, drill.rate)
    return review_take(
        arrangement, recording, span=span, hands=hands, pulse=pulse, live=options.live,
        instrument=instrument,
    )  # fmt: skip


def find_pulse(arrangement: Arrangement, review: Review, rate: float) -> Pulse:
    """The strict pulse that a recording made elsewhere was played to: its tempo is told, and its
    beginning is where the right notes of the first pass lie early as often as late."""
    import numpy as np

    from engine.performance import Pulse

    if not review.passes:
        return Pulse("strict", 0.0, 0.0, rate)
    one = review.passes[0]
    right = [
        (one.notes[f.played].onset_s, f.score)
        for f in one.findings
        if f.what == "right" and f.played is not None and f.score is not None
    ]
    onset_s = np.array([s for s, _ in right])
    written_s = arrangement.table["onset_s"][[i for _, i in right]] / rate
    start_q = one.played.from_q
    start_s = float(arrangement.seconds_at(start_q)) / rate
    return Pulse("strict", float(np.median(onset_s - written_s)) + start_s, start_q, rate)


def _keep(
    options: argparse.Namespace,
    env: Environment,
    places: Places,
    arrangement: Arrangement,
    events: list[KeyEvent],
    pulse: Pulse | None,
) -> int:
    """Keep a recording made elsewhere as a take, its passes judged."""
    from practice.commands.settings_told import read_definitions
    from practice.store.importing import keep_recording

    drill = read_drill(arrangement, options)
    path = os.path.abspath(options.arrangement)
    definitions = read_definitions(places, env)
    return keep_recording(
        places.store, arrangement, path, drill, events, env.now(), pulse, definitions
    )


def _say_account(env: Environment, arrangement: Arrangement, review: Review) -> None:
    from engine.other_hand import find_costs
    from practice.listen.spoken_account import say_cost, say_review

    count = len(review.recording.notes)
    what = f"{count} note{'s' if count != 1 else ''}"
    if not review.passes:
        env.say(
            f"{arrangement.title}: the {what} played cannot be followed as this arrangement "
            "in this key, so nothing is scored."
        )
        return
    env.say(f"{arrangement.title}: {what}")
    for number, one in enumerate(review.passes, 1):
        env.say()
        for line in say_review(arrangement, one, number):
            env.say(line)
    for cost in find_costs(arrangement, review.passes):
        env.say()
        env.say(say_cost(cost))
