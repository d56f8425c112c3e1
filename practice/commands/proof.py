"""`undersong proof`: the page read back, and what on it looks like an error of notation."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from practice.environment import Environment, ExitStatus, Places, find_places

if TYPE_CHECKING:
    from engine.arrangement import Arrangement
    from engine.proof import Remark
    from practice.report.proof_book import ProofBook

NAME = "proof"
HELP = "Read the arrangement back: form, harmony, figure, and what looks like an error of notation."
EXAMPLE = "undersong proof song.musicxml"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("arrangement", metavar="ARRANGEMENT", help="the score file")
    parser.add_argument("--remarks", action="store_true", help="the remarks only")
    parser.add_argument("--reach", type=int, default=0, metavar="SEMITONES",
                        help="how far a hand reaches (if not given 16, a major tenth)")  # fmt: skip
    parser.add_argument("--sections", nargs="*", metavar="NAME=5-12",
                        help="name the sections and keep them beside the score; with none named, "
                        "show them as they are kept")  # fmt: skip
    parser.add_argument("--set-aside", nargs="+", metavar="KEY", default=[],
                        help="these remarks are meant so: never show them again")  # fmt: skip
    parser.add_argument("--take-back", nargs="+", metavar="KEY", default=[],
                        help="show these remarks again")  # fmt: skip
    parser.add_argument(
        "--against", metavar="OLD", help="an older version: what changed, bar by bar"
    )
    parser.add_argument("--json", metavar="FILE", help="write all as JSON; - for standard output")
    parser.add_argument("--png", metavar="DIR", help="the engraved page with the remarks marked")
    parser.add_argument("--pdf", metavar="FILE", help="the same as one PDF")


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """Proof one arrangement."""
    from engine.proof import Reach, find_remarks
    from practice.library import open_arrangement
    from practice.report.proof_book import ProofBook

    places = find_places(options.data, env.variables)
    arrangement = open_arrangement(options.arrangement, places.cache)
    if options.sections is not None:
        return _do_sections(options, env, arrangement)
    if options.against:
        return _compare(options, env, places, arrangement)
    book = ProofBook(places.data / "pages.json")
    reach = Reach(options.reach, options.reach) if options.reach else Reach()
    remarks = find_remarks(arrangement, reach)
    _note_asides(options, env, book, arrangement, remarks)
    aside = book.set_aside(arrangement.title)
    open_ones = tuple(r for r in remarks if r.key not in aside)
    if options.json:
        _write_json(options, env, arrangement, open_ones, [r for r in remarks if r.key in aside])
    if options.png or options.pdf:
        _draw(options, env, places, arrangement, open_ones)
    if options.json != "-":
        _say(options, env, book, arrangement, open_ones, len(remarks) - len(open_ones))
    return ExitStatus.DONE


def _do_sections(
    options: argparse.Namespace, env: Environment, arrangement: Arrangement
) -> ExitStatus:
    from engine.read.sidecar import sidecar_path
    from practice.report.section_text import put_sections, sections_as_toml, sections_from_words

    if not options.sections:
        env.say(sections_as_toml(arrangement).rstrip())
        return ExitStatus.DONE
    path = sidecar_path(options.arrangement)
    put_sections(path, sections_from_words(options.sections, arrangement))
    env.say(f"Sections kept in {path}.")
    return ExitStatus.DONE


def _compare(
    options: argparse.Namespace, env: Environment, places: Places, arrangement: Arrangement
) -> ExitStatus:
    from engine.proof import compare_pages
    from engine.proof.as_json import change_json
    from practice.commands.output import write_json
    from practice.library import open_arrangement

    changes = compare_pages(open_arrangement(options.against, places.cache), arrangement)
    if options.json:
        write_json(env, options.json, {"changes": [change_json(c) for c in changes]})
    if options.json == "-":
        return ExitStatus.DONE
    for change in changes:
        moved = change.old_bar and change.new_bar and change.old_bar != change.new_bar
        where = f"bar {change.new_bar or change.old_bar}"
        before = f" (was {change.old_bar})" if moved else ""
        hands = f", {change.hands[0]} hand" if len(change.hands) == 1 else ""
        kept = "practice still counts" if change.counts else "to be practised anew"
        env.say(f"{where}{before}{hands}: {change.kind}: {change.words} ({kept})")
    if not changes:
        env.say("The two pages say the same.")
    return ExitStatus.DONE


def _note_asides(
    options: argparse.Namespace,
    env: Environment,
    book: ProofBook,
    arrangement: Arrangement,
    remarks: tuple[Remark, ...],
) -> None:
    from engine.errors import UndersongError

    known = {r.key for r in remarks}
    for key in (*options.set_aside, *options.take_back):
        if key not in known:
            raise UndersongError(
                f"there is no remark {key}", options.arrangement, "keys stand behind the remarks"
            )
    if options.set_aside:
        book.put_aside(arrangement.title, options.set_aside, env.now())
    if options.take_back:
        book.take_back(arrangement.title, options.take_back)


def _write_json(
    options: argparse.Namespace,
    env: Environment,
    arrangement: Arrangement,
    remarks: tuple[Remark, ...],
    aside: list[Remark],
) -> None:
    from engine.proof.as_json import proof_json
    from practice.commands.output import write_json

    write_json(env, options.json, proof_json(arrangement, remarks, aside))


def _draw(
    options: argparse.Namespace,
    env: Environment,
    places: Places,
    arrangement: Arrangement,
    remarks: tuple[Remark, ...],
) -> None:
    from engine.read import engravable_text
    from practice.report.proof_pages import draw_pages, write_pages

    text = engravable_text(options.arrangement)
    pages = draw_pages(arrangement, text, remarks, places.cache)
    for path in write_pages(pages, options.png, options.pdf):
        (env.warn if options.json == "-" else env.say)(f"Written: {path}")


def _say(
    options: argparse.Namespace,
    env: Environment,
    book: ProofBook,
    arrangement: Arrangement,
    remarks: tuple[Remark, ...],
    aside: int,
) -> None:
    from engine.proof.read_back import heading, read_back

    lines = [heading(arrangement)] if options.remarks else read_back(arrangement)
    for line in lines:
        env.say(line)
    env.say()
    env.say("Remarks" if remarks else "No remarks: the page says what it seems to mean.")
    for number, remark in enumerate(remarks, 1):
        env.say(f"  {number:2}. {remark_line(remark)}")
    if aside:
        env.say(f"  ({aside} set aside as meant so)")
    words = book.words(arrangement.title)
    if words:
        env.say()
        env.say("Said while practising")
    for word in words:
        said = "the page is wrong here" if word.what == "page-wrong" else "played so on purpose"
        played = f" ({word.played})" if word.played else ""
        env.say(f"  bar {word.bar}, beat {word.beat:g}: {said}{played}")


def remark_line(remark: Remark) -> str:
    """One remark as a line: where, why, how sure, and the key to set it aside by."""
    where = f"bar {remark.bar}" if remark.bar else "the page"
    if remark.beat is not None:
        where += f", beat {round(float(remark.beat), 2):g}"
    sure = (
        "sure" if remark.certainty >= 0.85 else "likely" if remark.certainty >= 0.65 else "perhaps"
    )
    return f"{where}: {remark.why} ({sure})  [{remark.key}]"
