"""`undersong export`: a kept take as a file for other programs, or as a report."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from engine.errors import TakeError, UndersongError
from practice.environment import Environment, ExitStatus, Places, find_places

if TYPE_CHECKING:
    from engine.arrangement import Arrangement
    from engine.measure.instrument import Instrument
    from engine.performance import KeyEvent
    from engine.review import Review
    from practice.report.report import Report
    from practice.store.kept import KeptTake

NAME = "export"
HELP = "Write a kept take as MIDI, sound, CSV, JSON, MusicXML with its slips, or as a report."
EXAMPLE = "undersong export 12 run.mid\n  undersong export 12 report.html"

KINDS = (".mid", ".midi", ".wav", ".flac", ".csv", ".json", ".musicxml", ".svg", ".html", ".pdf")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    from practice.commands.options import positive_count
    from practice.commands.sound_options import add_sound_font

    parser.add_argument("take", metavar="TAKE", type=positive_count, help="its number")
    parser.add_argument(
        "file", metavar="FILE", help="where to; its ending tells the kind: " + ", ".join(KINDS)
    )
    parser.add_argument(
        "--score", metavar="FILE", help="the score, if it is no longer where it was"
    )
    add_sound_font(parser)


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """Export one take."""
    from practice.store.kept_takes import read_take

    kind = Path(options.file).suffix.casefold()
    if kind not in KINDS:
        raise UndersongError(
            "not a kind of file known here", options.file, "one of " + " ".join(KINDS)
        )
    places = find_places(options.data, env.variables)
    kept, events = read_take(places, options.take)
    if kind in (".mid", ".midi"):
        _write_midi(options.file, kept, events)
    elif kind in (".wav", ".flac"):
        _write_sound(options, places, events)
    else:
        _write_review(options, env, places, kept, events)
    return ExitStatus.DONE


def _write_midi(file: str, kept: KeptTake, events: list[KeyEvent]) -> None:
    from practice.store.recording import write_recording

    write_recording(file, events, f"{kept.start.title}, take {kept.number}")


def _write_sound(options: argparse.Namespace, places: Places, events: list[KeyEvent]) -> None:
    """Exactly as it was played, pedal and all."""
    from practice.commands.sound_options import find_piano
    from practice.sound.sound_file import write_sound

    write_sound(options.file, find_piano(options.sound_font, places), events)


def _write_review(
    options: argparse.Namespace, env: Environment, places: Places,
    kept: KeptTake, events: list[KeyEvent],
) -> None:  # fmt: skip
    """Review the take afresh and write what its file's kind asks for."""
    from engine.result import result_json
    from practice.commands.output import write_json, write_text
    from practice.ports.instrument_profiles import instrument_of
    from practice.report.take_table import take_csv

    path = options.score or kept.start.path
    arrangement = _open_score(path, kept, places)
    instrument = instrument_of(kept.start, places.instruments)
    review = _review(arrangement, kept, events, instrument)
    kind = Path(options.file).suffix.casefold()
    if kind == ".json":
        write_json(env, options.file, result_json(arrangement, review))
    elif kind == ".csv":
        write_text(env, options.file, take_csv(result_json(arrangement, review)))
    else:
        _refuse_the_score(options.file, path)
        _write_page(options.file, kind, env, places, _report(path, arrangement, kept, review))


def _refuse_the_score(file: str, path: str) -> None:
    """The page with its slips marked would take the place of the page."""
    if Path(file).exists() and Path(file).samefile(path):
        raise UndersongError("this is the score itself", file, "give the file another name")


def _open_score(path: str, kept: KeptTake, places: Places) -> Arrangement:
    from practice.library import open_arrangement

    where = f"take {kept.number}"
    if not path:
        raise TakeError("it does not say which score it belongs to", where, "name it with --score")
    if not Path(path).exists():
        raise TakeError(f"its score is no longer at {path}", where, "name it with --score")
    arrangement = open_arrangement(path, places.cache)
    if (
        arrangement.content_hash != kept.start.content_hash
        and arrangement.title != kept.start.title
    ):
        raise TakeError(f"it was played from {kept.start.title}", where, "name that with --score")
    return arrangement


def _review(
    arrangement: Arrangement,
    kept: KeptTake,
    events: list[KeyEvent],
    instrument: Instrument | None,
) -> Review:
    from engine.arrangement import whole_span
    from engine.performance import pair_notes
    from engine.review import review_take

    start = kept.start
    same = arrangement.content_hash == start.content_hash
    span = start.span if same and start.span != whole_span(arrangement) else None
    return review_take(
        arrangement,
        pair_notes(events),
        span=span,
        hands=start.hands,
        instrument=instrument,
    )


def _report(path: str, arrangement: Arrangement, kept: KeptTake, review: Review) -> Report:
    from engine.read import engravable_text
    from practice.report.report import Report

    when = kept.start.started.strftime("%Y-%m-%d %H:%M")
    title = f"{arrangement.title}, take {kept.number}, {when}"
    return Report(arrangement, engravable_text(path), title, review.passes)


def _write_page(file: str, kind: str, env: Environment, places: Places, report: Report) -> None:
    from practice.commands.output import write_text
    from practice.report.report import longest_pass, report_html, report_svg, write_report_pdf
    from practice.report.slip_score import mark_slips

    if kind == ".pdf":
        write_report_pdf(report, file, places.cache)
    elif kind == ".html":
        write_text(env, file, report_html(report))
    elif kind == ".svg":
        write_text(env, file, report_svg(report))
    else:
        text = mark_slips(report.text, report.arrangement, longest_pass(report))
        write_text(env, file, text)
