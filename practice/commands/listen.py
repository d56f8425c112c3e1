"""`undersong listen`: hear the page played without a slip, or a kept take exactly as it was."""

from __future__ import annotations

import argparse
import contextlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from engine.errors import UndersongError
from practice.commands.options import add_span_options, positive_count, read_drill
from practice.commands.sound_options import add_sound_font
from practice.environment import Environment, ExitStatus, find_places

if TYPE_CHECKING:
    from engine.arrangement import Arrangement
    from engine.performance import KeyEvent
    from practice.environment import Places
    from practice.listen.hearing import PageHeard
    from practice.listen.kept_hearing import KeptHearing
    from practice.sound.accompany import Accompanist
    from practice.sound.bar_moments import BarMoment

NAME = "listen"
HELP = "Hear an arrangement played as written, or a kept take exactly as it was played."
EXAMPLE = "undersong listen song.musicxml --bars 5-8 --part line --tempo 60%"

#: Before the first note, and after the last.
BREATH_S, RING_S = 0.4, 1.5


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("arrangement", metavar="ARRANGEMENT", nargs="?", help="the score")
    parser.add_argument(
        "--take", dest="takes", metavar="N", type=positive_count, action="append", default=[],
        help="a kept take instead; given twice, two of them one after the other",
    )  # fmt: skip
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
        "--no-window", action="store_true", help="bars in the terminal instead of a window"
    )
    parser.add_argument(
        "--to", metavar="FILE", help="write a .wav, .flac or .mid file, play nothing"
    )


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """Play it, or write it."""
    if (options.arrangement is None) == (not options.takes):
        raise UndersongError("what to hear?", "", "name an arrangement, or a take with --take N")
    if options.takes:
        _refuse_page_options(options)
    places = find_places(options.data, env.variables)
    what = (_read_kept if options.takes else _read_page)(options, places)
    if options.to:
        _write(options.to, options.sound_font, what, places)
        env.say(f"{what.title}: {options.to}")
        return ExitStatus.DONE
    env.say(f"{what.title} (Ctrl-C ends it)")
    for take in what.takes:
        if take.note:
            env.say(f"{take.name}: {take.note}")
    if not _listen_in_window(options, env, places, what):
        _play(options, env, places, what)
    return ExitStatus.DONE


def _refuse_page_options(options: argparse.Namespace) -> None:
    """What is chosen of a page cannot be had of a take, and is not passed over in silence."""
    chosen = [
        f"--{name}" for name in ("hands", "bars", "section", "pulse", "tempo")
        if getattr(options, name)
    ]  # fmt: skip
    chosen += ["--part"] if options.part != "all" else []
    chosen += ["--no-pedal"] if options.no_pedal else []
    if chosen:
        raise UndersongError(
            "a take is heard as it was played", "--take", f"leave out {' and '.join(chosen)}"
        )


@dataclass(frozen=True, slots=True)
class _Heard:
    """What is to be heard: as messages, and what the page needs to follow.

    `arrangement`: None where the takes' score cannot be shown, and `path` is "" then.
    """

    title: str
    events: list[KeyEvent]
    bars: list[BarMoment]
    arrangement: Arrangement | None
    path: str
    page: PageHeard | None = None
    takes: tuple[KeptHearing, ...] = ()


def _read_page(options: argparse.Namespace, places: Places) -> _Heard:
    from practice.drill import name_span
    from practice.library import open_arrangement
    from practice.listen.hearing import PageHeard
    from practice.sound.bar_moments import find_bars_of_page
    from practice.sound.page import PageChoice, find_part, play_page

    arrangement = open_arrangement(options.arrangement, places.cache)
    drill, part, pedal = read_drill(arrangement, options), options.part, not options.no_pedal
    hands = drill.hands or "both"
    choice = PageChoice(drill.span, hands, part, drill.rate, pedal=pedal)
    title = f"{arrangement.title}: {name_span(arrangement, drill.span)}"
    bars = find_bars_of_page(arrangement, drill.span, drill.rate)
    events, bars = _repeat(play_page(arrangement, choice), bars, options.times)
    only = None if part == "all" else frozenset(find_part(arrangement, part))
    page = PageHeard(drill.span, hands, drill.rate, part, pedal, only)
    return _Heard(title, events, bars, arrangement, options.arrangement, page)


def _read_kept(options: argparse.Namespace, places: Places) -> _Heard:
    from practice.listen.kept_hearing import HearingTakes, read_hearing
    from practice.sound.bar_moments import find_bars_of_takes
    from practice.store.kept_takes import read_take
    from practice.store.store import Store

    numbers = options.takes
    starts = [read_take(places, number)[0].start for number in numbers]
    arrangement = _open_page({start.path for start in starts}, places)
    with Store(places.store) as store:
        takes = tuple(read_hearing(store, arrangement, number) for number in numbers)
    heard = HearingTakes(takes, takes[0].first_s)
    bars = find_bars_of_takes(arrangement, heard) if arrangement else []
    which = " and ".join(f"take {number}" for number in numbers)
    events, bars = _repeat(heard.events(), bars, options.times)
    path = starts[0].path if arrangement else ""
    return _Heard(f"{starts[0].title}, {which}", events, bars, arrangement, path, takes=takes)


def _open_page(paths: set[str], places: Places) -> Arrangement | None:
    """The page of the takes as it is now; None where they have no one page that can be read:
    they are heard all the same."""
    from practice.library import open_arrangement

    if len(paths) != 1:
        return None
    with contextlib.suppress(UndersongError):
        return open_arrangement(paths.pop(), places.cache)
    return None


def _listen_in_window(
    options: argparse.Namespace, env: Environment, places: Places, what: _Heard
) -> bool:
    """Whether a window was shown until it was left."""
    from practice.commands.show import has_screen

    if options.no_window:
        return False
    if not has_screen(env.variables):
        env.say("No screen here: going on without a window.")
        return False
    if what.arrangement is None:
        env.say("The page of it cannot be shown: going on without a window.")
        return False
    from practice.commands.listen_window import Listened, show_listening

    listened = Listened(what.arrangement, what.path, what.page, what.takes, options.times)
    return show_listening(listened, env, places, options.output, options.sound_font)


def _repeat(
    events: list[KeyEvent], bars: list[BarMoment], times: int
) -> tuple[list[KeyEvent], list[BarMoment]]:
    from dataclasses import replace

    length_s = max((e.time_s for e in events), default=0.0) + BREATH_S
    rounds = [k * length_s for k in range(times)]
    again = [replace(e, time_s=e.time_s + later_s) for later_s in rounds for e in events]
    return again, [(at_s + later_s, name) for later_s in rounds for at_s, name in bars]


def _write(file: str, font: str, what: _Heard, places: Places) -> None:
    from practice.commands.sound_options import find_piano
    from practice.sound.sound_file import KINDS, write_sound

    kind = Path(file).suffix.casefold()
    if kind in KINDS:
        write_sound(file, find_piano(font, places), what.events)
    elif kind in (".mid", ".midi"):
        from practice.store.recording import write_recording

        write_recording(file, what.events, what.title)
    else:
        raise UndersongError("not a kind of file known here", file, "name it .wav, .flac or .mid")


def _play(options: argparse.Namespace, env: Environment, places: Places, what: _Heard) -> None:
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
        _play_until_over(accompanist, env, what.events, what.bars)
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
