"""`undersong progress`: where every section stands, and what changed over the days."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from practice.environment import Environment, ExitStatus, find_places

if TYPE_CHECKING:
    from practice.progress.progress import Progress

NAME = "progress"
HELP = "Say where each section stands and what changed, over all days of practising."
EXAMPLE = "undersong progress song.musicxml --html progress.html"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument(
        "arrangement", metavar="ARRANGEMENT", nargs="?", help="the score; left out: the last one"
    )
    parser.add_argument("--json", metavar="FILE", help="write it as JSON; - for standard output")
    parser.add_argument(
        "--csv", metavar="FILE", help="write a row for each section, hand and day; - as above"
    )
    parser.add_argument("--html", metavar="FILE", help="write one page with plots")
    parser.add_argument("--pdf", metavar="FILE", help="write the plots as a PDF")
    parser.add_argument("--png", metavar="DIR", help="write each plot as a picture")


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """Read the store and say or write what it tells."""
    from practice.commands.output import write_json, write_text
    from practice.commands.settings_told import read_definitions
    from practice.library import open_arrangement
    from practice.listen.kept_before import find_last_path
    from practice.progress.progress import read_progress
    from practice.progress.progress_data import progress_csv, progress_json
    from practice.progress.progress_text import say_progress
    from practice.store.store import Store

    places = find_places(options.data, env.variables)
    path = options.arrangement or find_last_path(places.store)
    arrangement = open_arrangement(path, places.cache)
    with Store(places.store) as store:
        progress = read_progress(store, arrangement, read_definitions(places, env))
    if options.json:
        write_json(env, options.json, progress_json(progress))
    if options.csv:
        write_text(env, options.csv, progress_csv(progress))
    if options.html or options.pdf or options.png:
        _draw(options, env, progress)
    if not (options.json or options.csv or options.html or options.pdf or options.png):
        for line in say_progress(progress, env.stdout.isatty()):
            env.say(line)
    return ExitStatus.DONE


def _draw(options: argparse.Namespace, env: Environment, progress: Progress) -> None:
    from practice.commands.output import write_text
    from practice.progress.news import find_news
    from practice.progress.progress_page import progress_html
    from practice.progress.progress_plots import write_pdf, write_pngs
    from practice.progress.progress_text import say_totals

    made = env.now()
    if options.html:
        write_text(env, options.html, progress_html(progress, made))
    if options.pdf:
        lines = [say_totals(progress), "", *(f"* {one.words}" for one in find_news(progress))]
        write_pdf(progress, options.pdf, made, lines)
    if options.png:
        for path in write_pngs(progress, options.png, made):
            env.say(str(path))
