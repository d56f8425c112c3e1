"""`undersong listen`: hear the page played without a slip, or a kept take exactly as it was."""

from __future__ import annotations

import argparse
import contextlib
from pathlib import Path
from typing import TYPE_CHECKING

from engine.errors import UndersongError
from practice.commands.options import add_span_options, positive_count, read_drill
from practice.commands.sound_options import add_sound_font
from practice.environment import Environment, ExitStatus, find_places

if TYPE_CHECKING:
    from engine.performance import KeyEvent
    from practice.environment import Places
    from practice.sound.accompany import Accompanist
    from practice.sound.bar_moments import BarMoment

    _Heard = tuple[str, list[KeyEvent], list[BarMoment]]

NAME = "listen"
HELP = "Hear an arrangement played as written, or a kept take exactly as it was played."
EXAMPLE = "undersong listen song.musicxml --bars 5-8 --part line --tempo 60%"

#: Before the first note, and after the last.
BREATH_S, RING_S = 0.4, 1.5


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("arrangement", metavar="ARRANGEMENT", nargs="?", help="the score")
    parser.add_argument("--take", metavar="N", type=positive_count, help="a kept take instead")
    add_span_options(parser)
    parser.add_argument(
        "--part", choices=("all", "line", "figure"), default="all",
        help="the line alone, or the figure alone as a bed",
    )  # fmt: skip
    parser.add_argument("--no-pedal", action="store_true", help="leave the page's pedal out")
    parser.add_argument("--times", metavar="N", type=positive_count, default=1, help="how often")
    parser.add_argument(
        "--out", dest="output", metavar="PORT", help="a MIDI output instead of the built-in piano"
    )
    add_sound_font(parser)
    parser.add_argument(
        "--to", metavar="FILE", help="write a .wav, .flac or .mid file, play nothing"
    )


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """Play it, or write it."""
    if (options.arrangement is None) == (options.take is None):
        raise UndersongError("what to hear?", "", "name an arrangement, or a take with --take N")
    places = find_places(options.data, env.variables)
    title, events, bars = (_read_kept if options.take else _read_page)(options, places)
    if options.to:
        _write(options.to, options.sound_font, title, events, places)
        env.say(f"{title}: {options.to}")
    else:
        env.say(f"{title} (Ctrl-C ends it)")
        _play(options, env, places, events, bars)
    return ExitStatus.DONE


def _read_page(options: argparse.Namespace, places: Places) -> _Heard:
    from practice.drill import name_span
    from practice.library import open_arrangement
    from practice.sound.bar_moments import find_bars_of_page
    from practice.sound.page import PageChoice, play_page

    arrangement = open_arrangement(options.arrangement, places.cache)
    drill = read_drill(arrangement, options)
    choice = PageChoice(
        drill.span, drill.hands or "both", options.part, drill.rate, pedal=not options.no_pedal
    )
    title = f"{arrangement.title}: {name_span(arrangement, drill.span)}"
    bars = find_bars_of_page(arrangement, drill.span, drill.rate)
    return title, *_repeat(play_page(arrangement, choice), bars, options.times)


def _read_kept(options: argparse.Namespace, places: Places) -> _Heard:
    from practice.library import open_arrangement
    from practice.sound.bar_moments import find_bars_of_take
    from practice.store.kept_takes import read_take

    kept, events = read_take(places, options.take)
    bars: list[BarMoment] = []
    with contextlib.suppress(UndersongError):  # without its score it is heard all the same
        arrangement = open_arrangement(kept.start.path, places.cache)
        if arrangement.content_hash == kept.start.content_hash:
            bars = find_bars_of_take(places.store, arrangement, kept.number)
    return f"{kept.start.title}, take {kept.number}", *_repeat(events, bars, options.times)


def _repeat(
    events: list[KeyEvent], bars: list[BarMoment], times: int
) -> tuple[list[KeyEvent], list[BarMoment]]:
    from dataclasses import replace

    length_s = max((e.time_s for e in events), default=0.0) + BREATH_S
    rounds = [k * length_s for k in range(times)]
    again = [replace(e, time_s=e.time_s + later_s) for later_s in rounds for e in events]
    return again, [(at_s + later_s, name) for later_s in rounds for at_s, name in bars]


def _write(file: str, font: str, title: str, events: list[KeyEvent], places: Places) -> None:
    from practice.commands.sound_options import find_piano
    from practice.sound.sound_file import KINDS, write_sound

    kind = Path(file).suffix.casefold()
    if kind in KINDS:
        write_sound(file, find_piano(font, places), events)
    elif kind in (".mid", ".midi"):
        from practice.store.recording import write_recording

        write_recording(file, events, title)
    else:
        raise UndersongError("not a kind of file known here", file, "name it .wav, .flac or .mid")


def _play(
    options: argparse.Namespace, env: Environment, places: Places, events: list[KeyEvent],
    bars: list[BarMoment],
) -> None:  # fmt: skip
    from practice.commands.sound_options import find_latency_s, open_instrument
    from practice.settings import load_settings
    from practice.sound.accompany import Accompanist

    settings, _ = load_settings(places.settings)
    port = options.output if options.output is not None else settings.output
    latency_s = find_latency_s(settings, port)
    font = options.sound_font or settings.sound_font
    instrument = open_instrument(port, places, env.clock, latency_s, font)
    accompanist = Accompanist(instrument, env.clock)
    try:
        _play_until_over(accompanist, env, events, bars)
    finally:
        accompanist.close()


def _play_until_over(
    accompanist: Accompanist, env: Environment, events: list[KeyEvent], bars: list[BarMoment]
) -> None:
    """Play, saying each bar as it is heard."""
    import threading

    from practice.interruptible import interruptible

    never = threading.Event()
    with interruptible(), contextlib.suppress(KeyboardInterrupt):
        first_s = min((e.time_s for e in events), default=0.0)
        shift_s = env.clock.now_s() + BREATH_S - first_s
        accompanist.add([(e.time_s + shift_s, e.data) for e in events])
        for at_s, name in bars:
            env.clock.wait(never, at_s + shift_s - env.clock.now_s())
            env.say(f"  {name}")
        last_s = max((e.time_s for e in events), default=0.0) + shift_s + RING_S
        env.clock.wait(never, last_s - env.clock.now_s())
