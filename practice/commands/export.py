"""`undersong export`: a kept take as a file for other programs."""

from __future__ import annotations

import argparse
from pathlib import Path

from engine.errors import UndersongError
from practice.environment import Environment, ExitStatus, find_places

NAME = "export"
HELP = "Write a kept take as a MIDI file, or as sound."
EXAMPLE = "undersong export 12 run.mid"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    from practice.commands.options import positive_count

    parser.add_argument("take", metavar="TAKE", type=positive_count, help="its number")
    parser.add_argument("file", metavar="FILE", help="where to: the kind is told by its ending")


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """Export one take."""
    kind = Path(options.file).suffix.casefold()
    write = {".mid": _write_midi, ".midi": _write_midi, ".wav": _write_wav}.get(kind)
    if write is None:
        raise UndersongError("not a kind of file known here", options.file, "name it .mid or .wav")
    write(options, env)
    return ExitStatus.DONE


def _write_midi(options: argparse.Namespace, env: Environment) -> None:
    from practice.kept_takes import read_take
    from practice.recording import write_recording

    kept, events = read_take(find_places(options.data, env.variables), options.take)
    write_recording(options.file, events, f"{kept.start.title}, take {kept.number}")


def _write_wav(options: argparse.Namespace, env: Environment) -> None:
    from practice.kept_takes import read_take
    from practice.sound import load_piano
    from practice.sound_file import write_sound

    places = find_places(options.data, env.variables)
    _, events = read_take(places, options.take)
    write_sound(options.file, load_piano(places.cache), events)
