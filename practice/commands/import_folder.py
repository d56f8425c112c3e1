"""`undersong import`: recordings made elsewhere, sorted to their arrangements and kept as takes."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from engine.errors import TakeError, UndersongError
from practice.environment import Environment, ExitStatus, Places, find_places

if TYPE_CHECKING:
    from engine.arrangement import Arrangement

NAME = "import"
HELP = "Keep a folder of MIDI recordings as takes, each sorted to the arrangement it belongs to."
EXAMPLE = "undersong import recordings/ song.musicxml other.musicxml"

ENDINGS = (".mid", ".midi")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("folder", metavar="FOLDER", help="of MIDI recordings; or one recording")
    parser.add_argument(
        "scores", metavar="ARRANGEMENT", nargs="*",
        help="what they may be of; left out: every arrangement practised so far",
    )  # fmt: skip
    parser.add_argument(
        "--dry-run", action="store_true", help="say what belongs where, keep nothing"
    )


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """Import each recording, or say why not."""
    from practice.library import open_arrangement

    places = find_places(options.data, env.variables)
    files = list(find_recordings(Path(options.folder)))
    paths = options.scores or _known_scores(places)
    scores = [(path, open_arrangement(path, places.cache)) for path in paths]
    kept = 0
    for file in files:
        try:
            said = _import_one(file, scores, places, env, options.dry_run)
        except UndersongError as error:
            env.warn(_printable(f"undersong: {error}"))
            continue
        kept += said is not None
        env.say(
            f"{_printable(file.name)}: {said or 'belongs to none of the arrangements; left alone'}"
        )
    verb = "would be kept" if options.dry_run else "kept"
    env.say(f"{kept} of {len(files)} recordings {verb}.")
    return ExitStatus.DONE if kept else ExitStatus.FAILED


def _printable(text: str) -> str:
    """On one line, whatever bytes a file's name has."""
    return " ".join(text.encode("utf-8", "backslashreplace").decode().split())


def find_recordings(folder: Path) -> Iterator[Path]:
    """The MIDI files of a folder, oldest first.

    Raises:
        TakeError: there is no such folder, or none in it.
    """
    if folder.is_file():
        yield folder
        return
    if not folder.is_dir():
        raise TakeError("there is no such folder", str(folder), "check the path")
    # What is no file (a folder, a pipe, a link to nothing) is no recording, whatever its name.
    found = [p for p in folder.rglob("*") if p.suffix.casefold() in ENDINGS and p.is_file()]
    if not found:
        raise TakeError("holds no MIDI recording", str(folder), "their names end in .mid")
    yield from sorted(found, key=lambda p: (p.stat().st_mtime, p.name))


def _known_scores(places: Places) -> list[str]:
    """The scores of all takes so far that are still where they were."""
    from practice.store.store import Store

    paths: dict[str, None] = {}
    if places.store.exists():
        with Store(places.store) as store:
            paths = dict.fromkeys(t.start.path for t in store.takes() if t.start.path)
    found = [path for path in paths if Path(path).exists()]
    if not found:
        raise UndersongError("no arrangement is known yet", "", "name the scores after the folder")
    return found


def _import_one(
    file: Path, scores: Sequence[tuple[str, Arrangement]], places: Places, env: Environment,
    dry_run: bool,
) -> str | None:  # fmt: skip
    """Keep one recording; what to say of it, None where it belongs nowhere.

    Raises:
        UndersongError: it cannot be read, or is kept already.
    """
    from engine.arrangement import whole_span
    from engine.performance import pair_notes
    from practice.commands.settings_told import read_definitions
    from practice.drill import Drill
    from practice.store.belonging import find_arrangement
    from practice.store.importing import keep_recording
    from practice.store.recording import read_recording_events

    events = read_recording_events(file)
    found = find_arrangement(pair_notes(events), [score for _, score in scores])
    if found is None:
        return None
    path, score = scores[found.arrangement]
    said = f"{score.title} ({found.right_share:.0%} of its notes)"
    ended = _ended_at(file, env)
    _refuse_again(places, file, ended)
    if dry_run:
        return said
    drill = Drill(whole_span(score))
    definitions = read_definitions(places, env)
    number = keep_recording(
        places.store, score, str(Path(path).resolve()), drill, events, ended, None, definitions
    )
    return f"{said}, take {number}"


def _ended_at(file: Path, env: Environment) -> datetime:
    """When the file was last written, in the zone of now."""
    return datetime.fromtimestamp(file.stat().st_mtime, env.now().tzinfo)


def _refuse_again(places: Places, file: Path, ended: datetime) -> None:
    """A recording that ended when a kept import did is the same one."""
    from datetime import timedelta

    from practice.store.store import Store

    if not places.store.exists():
        return
    with Store(places.store) as store:
        for take in store.takes():
            over = take.start.started + timedelta(seconds=take.length_s)
            same = abs((over - ended).total_seconds()) < 0.05
            if take.start.source == "imported" and same:
                raise TakeError(f"was kept before as take {take.number}", str(file))
