"""`undersong play`: the main job. The keyboard is heard, followed, judged, and the take kept."""

from __future__ import annotations

import argparse
import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from practice.commands.options import add_span_options, positive_count, positive_number, read_drill
from practice.environment import Environment, ExitStatus, Places, find_places

if TYPE_CHECKING:
    from engine.arrangement import Arrangement
    from practice.clock import Clock
    from practice.drill import Drill
    from practice.keeper import TakeKeeper
    from practice.live_map import LiveMap
    from practice.settings import Settings
    from practice.sitting import Sitting

NAME = "play"
HELP = "Practise an arrangement: play, see and hear what was right, keep every take."
EXAMPLE = "undersong play song.musicxml --bars 5-8 --hands left"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    add = parser.add_argument
    add("arrangement", metavar="ARRANGEMENT", nargs="?", help="the score; left out: the last one")
    add_span_options(parser)
    add("--passes", metavar="N", type=positive_count, help="stop after N passes")
    add("--in", dest="input", metavar="PORT", default="", help="keyboard, by a part of its name")
    add("--out", dest="output", metavar="PORT", help="MIDI output for click and other hand")
    add("--no-window", action="store_true", help="text in the terminal instead of a window")
    add("--json", metavar="FILE", help="write the result as JSON; - for standard output")
    add("--player", choices=("demo",), help="let a simulated pianist play")
    demo = parser.add_argument_group("with --player demo")
    demo.add_argument(
        "--character", default="demo", choices=("steady", "demo", "hurried", "rummaging"),
        help="who plays",
    )  # fmt: skip
    demo.add_argument("--seed", type=int, default=1, metavar="N", help="same seed, same playing")
    demo.add_argument(
        "--speed", type=positive_number, default=1.0, metavar="X", help="time runs X times as fast"
    )


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """Practise, then say and write what came of it."""
    from practice.library import open_arrangement
    from practice.settings import load_settings

    say = env.warn if options.json == "-" else env.say
    places = find_places(options.data, env.variables)
    path = options.arrangement or _last_path(places)
    arrangement = open_arrangement(path, places.cache)
    drill = read_drill(arrangement, options)
    settings, warnings = load_settings(places.settings)
    for warning in warnings:
        env.warn(warning)
    evening = _Evening(options, env, say, places, settings, arrangement, drill)
    sitting = _sit_down(evening, path)
    _practise(evening, sitting)
    _tell_outcome(evening, sitting)
    return ExitStatus.DONE


@dataclass(frozen=True, slots=True)
class _Evening:
    """All that the steps of one run share."""

    options: argparse.Namespace
    env: Environment
    say: Callable[[str], None]
    places: Places
    settings: Settings
    arrangement: Arrangement
    drill: Drill


def _last_path(places: Places) -> str:
    """The score practised last."""
    from engine.errors import UndersongError
    from practice.store import Store

    if places.store.exists():
        with Store(places.store) as store:
            for take in reversed(store.takes()):
                if take.start.path:
                    return take.start.path
    raise UndersongError("no arrangement named", "", "undersong play ARRANGEMENT")


def _sit_down(evening: _Evening, path: str) -> Sitting:
    import os

    from practice.sitting import Setting, Sitting

    options, env = evening.options, evening.env
    setting = Setting(
        evening.arrangement,
        os.path.abspath(path),
        evening.drill,
        _clock(options, env),
        env.now,
        "demo" if options.player else "played",
    )
    keeper, history = _open_keeper(evening), _history(evening)
    return Sitting(setting, keeper, history=history, live_map=_map_so_far(evening))


def _clock(options: argparse.Namespace, env: Environment) -> Clock:
    from practice.clock import FastClock

    fast = options.player and options.speed != 1.0
    return FastClock(options.speed) if fast else env.clock


def _open_keeper(evening: _Evening) -> TakeKeeper | None:
    """The take store, what an earlier run left open closed and said; None where it cannot be."""
    from practice.keeper import TakeKeeper
    from practice.store import Store, StoreError

    store, now = evening.places.store, evening.env.now
    try:
        with Store(store) as opened:
            for take in opened.recover(now()):
                evening.say(f"Recovered take {take.number}: {take.notes} notes, {take.start.title}")
        return TakeKeeper(store, now)
    except StoreError as error:
        evening.env.warn(f"undersong: takes are not kept: {error}")
        return None


def _history(evening: _Evening) -> list[tuple[float, float]]:
    """(share of the marked tempo, evenness in ms) of the passes kept so far."""
    from practice.store import Store, StoreError

    arrangement = evening.arrangement
    try:
        with Store(evening.places.store) as store:
            kept = store.passes(arrangement.content_hash)
    except StoreError:
        return []
    return [
        (p.tempo_qpm / arrangement.tempo_at(p.from_q).qpm, p.evenness_ms)
        for p in kept
        if p.tempo_qpm and p.evenness_ms is not None
    ]


def _map_so_far(evening: _Evening) -> LiveMap:
    """The stages that the store tells; all unplayed where it tells nothing, or for the demo."""
    from practice.live_map import LiveMap
    from practice.section_store import keep_bars
    from practice.store import Store, StoreError

    live_map = LiveMap(evening.arrangement)
    if evening.options.player:
        return live_map
    try:
        with Store(evening.places.store) as store:
            live_map.load(store)
            keep_bars(store, evening.arrangement)
    except StoreError:
        return LiveMap(evening.arrangement)
    return live_map


def _practise(evening: _Evening, sitting: Sitting) -> None:
    from practice.prompts import say_span

    evening.say(f"{evening.arrangement.title}: {say_span(evening.arrangement, evening.drill)}")
    sitting.start()
    leave = _seat_player(evening, sitting)
    try:
        with _interruptible():
            _show(evening, sitting)
    except KeyboardInterrupt:
        evening.say("Stopped.")
    finally:
        leave()
        sitting.stop()


def _seat_player(evening: _Evening, sitting: Sitting) -> Callable[[], None]:
    """Whoever plays: the keyboard's owner or the simulated pianist. Returns how to end that."""
    if evening.options.player:
        return _seat_demo(evening, sitting)
    from practice.rtmidi_driver import RtmidiDriver

    settings, wanted = evening.settings, evening.options.input
    keyboard = sitting.connect(RtmidiDriver(), wanted, settings.keyboard)

    def remember() -> None:
        from dataclasses import replace

        from practice.settings import save_settings

        name = keyboard.name
        if name and name != settings.keyboard:
            save_settings(evening.places.settings, replace(settings, keyboard=name))

    return remember


def _seat_demo(evening: _Evening, sitting: Sitting) -> Callable[[], None]:
    from practice.demo import DemoPart, DemoPlayer

    options, drill = evening.options, evening.drill
    part = DemoPart(options.character, options.seed, drill.passes or 1)
    player = DemoPlayer(sitting, evening.arrangement, drill, part, sitting.clock)
    player.start()
    return player.stop


@contextlib.contextmanager
def _interruptible() -> Iterator[None]:
    """A request to end, from wherever, ends the practising and not the program."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    names = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
    numbers = [getattr(signal, name) for name in names if hasattr(signal, name)]
    before = [signal.signal(number, interrupt) for number in numbers]
    try:
        yield
    finally:
        for number, handler in zip(numbers, before, strict=True):
            signal.signal(number, handler)


def _show(evening: _Evening, sitting: Sitting) -> None:
    from practice.terminal import Terminal, read_keys

    if not evening.options.no_window:
        evening.say("No screen here: going on without a window.")
    terminal = Terminal(evening.arrangement, sitting.listener, evening.say)
    if not evening.options.player and evening.env.stdin.isatty():
        evening.say("Return: again. q and Return: done.")
        read_keys(evening.env.stdin, sitting.listener)
    try:
        terminal.run()
    finally:
        sitting.finish()
        terminal.look()


def _tell_outcome(evening: _Evening, sitting: Sitting) -> None:
    from practice.commands.output import write_json

    numbers = sitting.numbers()
    if evening.options.json:
        result = sitting.outcome.result(evening.arrangement, numbers)
        write_json(evening.env, evening.options.json, result)
    evening.say(_say_kept(sitting, sorted(number for number in numbers.values() if number)))


def _say_kept(sitting: Sitting, numbers: list[int]) -> str:
    passes = len(sitting.outcome.judged)
    count = "no pass" if not passes else f"{passes} pass{'es' if passes > 1 else ''}"
    if not numbers:
        return f"{count}; nothing was kept."
    kept = " and ".join(f"take {number}" for number in numbers)
    return f"{count}, kept as {kept}. See: undersong takes"
