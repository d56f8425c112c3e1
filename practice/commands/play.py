"""`undersong play`: the main job. The keyboard is heard, followed, judged, and the take kept."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from practice.commands.drill_options import add_drill_options, make_coach
from practice.commands.options import add_span_options, positive_count, positive_number, read_drill
from practice.commands.sound_options import add_sound_options, seat_partner
from practice.environment import Environment, ExitStatus, Places, find_places

if TYPE_CHECKING:
    from engine.arrangement import Arrangement
    from practice.clock import Clock
    from practice.drill import Drill
    from practice.drills.coach import Coach
    from practice.listen.sitting import Sitting
    from practice.settings import Settings
    from practice.store.keeper import TakeKeeper
    from practice.store.kept import Source

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
    add("--no-window", action="store_true", help="text in the terminal instead of a window")
    add("--json", metavar="FILE", help="write the result as JSON; - for standard output")
    add("--player", choices=("demo",), help="let a simulated pianist play")
    add_drill_options(parser)
    add_sound_options(parser)
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
    from practice.listen.kept_before import find_last_path
    from practice.settings import load_settings

    say = env.warn if options.json == "-" else env.say
    places = find_places(options.data, env.variables)
    path = os.path.abspath(options.arrangement or find_last_path(places.store))
    arrangement = open_arrangement(path, places.cache)
    coach = make_coach(options, places, arrangement)
    drill = coach.drill if coach else read_drill(arrangement, options)
    settings, warnings = load_settings(places.settings)
    for warning in warnings:
        env.warn(warning)
    evening = _Evening(options, env, say, places, settings, arrangement, path, drill, coach)
    sitting = _sit_down(evening)
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
    path: str
    drill: Drill
    coach: Coach | None


@dataclass(frozen=True, slots=True)
class _Seat:
    """Who sits at the keys: how they leave, and which keyboards there are."""

    leave: Callable[[], None]
    list_ports: Callable[[], list[str]] = list


def _sit_down(evening: _Evening) -> Sitting:
    from practice.drills.run_throughs import read_run_throughs
    from practice.listen.kept_before import read_history, read_map
    from practice.listen.live_map import LiveMap
    from practice.listen.sitting import Setting, Sitting
    from practice.ports.instrument_profiles import read_profiles

    options, env, store = evening.options, evening.env, evening.places.store
    source: Source = "demo" if options.player else "played"
    clock = _clock(options, env)
    setting = Setting(
        evening.arrangement, evening.path, evening.drill, clock, env.now, source,
        bool(options.json), evening.settings.definitions,
    )  # fmt: skip

    told = evening.settings.definitions

    def load_map(arrangement: Arrangement) -> LiveMap:
        """The demo begins with a blank map: what it plays is not the player's own."""
        if options.player:
            return LiveMap(arrangement, told)
        return read_map(store, arrangement, told)

    history = read_history(store, evening.arrangement)
    partner = seat_partner(
        options, evening.settings, evening.places, evening.arrangement, evening.drill, clock
    )
    # what the demo plays is no word of the player's on the page
    book_path = None if options.player else evening.places.data / "pages.json"
    return Sitting(
        setting, _open_keeper(evening), partner, history, load_map, evening.coach, book_path,
        read_profiles(evening.places.instruments),
        read_run_throughs(store, evening.arrangement, demo=source == "demo"),
    )  # fmt: skip


def _clock(options: argparse.Namespace, env: Environment) -> Clock:
    from practice.clock import FastClock

    fast = options.player and options.speed != 1.0
    return FastClock(options.speed) if fast else env.clock


def _open_keeper(evening: _Evening) -> TakeKeeper | None:
    """The take store; None, and a line on why, where takes cannot be kept."""
    from practice.listen.kept_before import open_keeper
    from practice.store.store import StoreError

    places, env = evening.places, evening.env
    try:
        return open_keeper(places.store, evening.arrangement, env.now, evening.say)
    except StoreError as error:
        env.warn(f"undersong: takes are not kept: {error}")
        return None


def _practise(evening: _Evening, sitting: Sitting) -> None:
    from practice.commands.show import load_show
    from practice.interruptible import interruptible
    from practice.listen.prompts import say_span

    evening.say(f"{evening.arrangement.title}: {say_span(evening.arrangement, evening.drill)}")
    load_show(_wants_window(evening))
    sitting.start()
    seat = _seat_player(evening, sitting)
    try:
        with interruptible():
            _show(evening, sitting, seat)
    except KeyboardInterrupt:
        evening.say("Stopped.")
    finally:
        seat.leave()
        sitting.stop()


def _seat_player(evening: _Evening, sitting: Sitting) -> _Seat:
    return (_seat_demo if evening.options.player else _seat_pianist)(evening, sitting)


def _seat_pianist(evening: _Evening, sitting: Sitting) -> _Seat:
    """Whoever plays on the keyboard, which is remembered for the next time."""
    from practice.ports.port_names import others_of
    from practice.ports.rtmidi_driver import system_driver
    from practice.settings import save_settings

    driver, settings = system_driver(), evening.settings
    keyboard = sitting.connect(driver, evening.options.input, settings.keyboard)

    def leave() -> None:
        if keyboard.last_name and keyboard.last_name != settings.keyboard:
            now = replace(settings, keyboard=keyboard.last_name)
            save_settings(evening.places.settings, now)

    return _Seat(leave, lambda: others_of(driver.inputs()))


def _seat_demo(evening: _Evening, sitting: Sitting) -> _Seat:
    from practice.listen.demo import DemoPart, DemoPlayer

    options, drill = evening.options, evening.drill
    endless = _wants_window(evening) or evening.coach is not None
    passes = drill.passes or (0 if endless else 1)
    part = DemoPart(options.character, options.seed, passes)
    player = DemoPlayer(sitting, evening.arrangement, drill, part, sitting.clock)
    player.start()

    def leave() -> None:
        player.stop()
        if player.problem:
            evening.env.warn(f"undersong: {player.problem}")

    return _Seat(leave)


def _wants_window(evening: _Evening) -> bool:
    from practice.commands.show import has_screen

    return not evening.options.no_window and has_screen(evening.env.variables)


def _show(evening: _Evening, sitting: Sitting, seat: _Seat) -> None:
    from practice.commands.show import Showing, show_terminal, show_window

    options, env, places = evening.options, evening.env, evening.places
    first = not (options.player or options.input or places.settings.exists())
    stdin = None if options.player else env.stdin
    showing = Showing(
        sitting, Path(evening.path), places, evening.settings, evening.say, stdin,
        seat.list_ports, first,
    )  # fmt: skip
    if _wants_window(evening):
        if show_window(showing):
            return
    elif not options.no_window:
        evening.say("No screen here: going on without a window.")
    show_terminal(showing)


def _tell_outcome(evening: _Evening, sitting: Sitting) -> None:
    from practice.commands.output import write_json

    numbers = sitting.numbers()
    if evening.options.drill_log:
        write_json(evening.env, evening.options.drill_log, sitting.coaching.log)
    if evening.options.json:
        arrangement = sitting.snapshot().arrangement
        write_json(evening.env, evening.options.json, sitting.outcome.result(arrangement, numbers))
    evening.say(_say_kept(sitting, sorted(number for number in numbers.values() if number)))
    if sitting.not_kept:
        evening.env.warn(f"undersong: {sitting.not_kept}")


def _say_kept(sitting: Sitting, numbers: list[int]) -> str:
    passes = len(sitting.outcome.takes)
    count = "No pass" if not passes else f"{passes} pass{'es' if passes > 1 else ''}"
    if not numbers:
        return f"{count}; nothing was kept."
    kept = " and ".join(f"take {number}" for number in numbers)
    return f"{count}, kept as {kept}. See: undersong takes"
