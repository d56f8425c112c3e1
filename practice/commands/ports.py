"""`undersong ports`: what MIDI there is, and what to do where there is nothing."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

from engine.errors import UndersongError
from practice.commands.options import any_number
from practice.environment import Environment, ExitStatus, find_places

if TYPE_CHECKING:
    from practice.ports.ports import ApiPorts, Driver

NAME = "ports"
HELP = "List keyboards and MIDI outputs."
EXAMPLE = "undersong ports"

_ADVICE = {
    "linux": "Connect the keyboard by USB and switch it on; if it stays away: is the module snd-seq"
    " loaded (sudo modprobe snd-seq), or the JACK server running?",
    "darwin": "Connect the keyboard by USB and switch it on; Audio MIDI Setup shows what the system"
    " sees, and pairs keyboards over Bluetooth.",
    "win32": "Connect the keyboard by USB and switch it on; only one program can use it at a time,"
    " so close others that may hold it.",
}


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument(
        "--json", metavar="FILE", help="write the list as JSON; - for standard output"
    )
    parser.add_argument(
        "--check",
        action="store_true",
        help="measure the keyboard's touch and pedal, and the delay of the built-in sound",
    )
    parser.add_argument(
        "--latency", metavar="MS", type=any_number,
        help="keep what the sound takes from the computer to your ear, as you found it",
    )  # fmt: skip
    parser.add_argument(
        "--tap", action="store_true",
        help="find that delay by tapping any key along with a click, and keep it",
    )  # fmt: skip
    parser.add_argument(
        "--out", dest="output", metavar="PORT", default="",
        help="with --tap or --latency: of this MIDI output instead of the built-in sound",
    )  # fmt: skip


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """List the ports."""
    from practice.commands.output import write_json
    from practice.ports.port_names import choose_name
    from practice.ports.rtmidi_driver import system_driver
    from practice.settings import load_settings

    driver = system_driver()
    apis = driver.list_apis()
    settings, _ = load_settings(find_places(options.data, env.variables).settings)
    inputs = [name for api in apis for name in api.inputs]
    chosen = choose_name(inputs, remembered=settings.keyboard, windows=driver.windows)
    if options.json:
        write_json(env, options.json, [_as_json(api) for api in apis])
    if options.json != "-":
        for api in apis:
            _say_api(env, api, chosen)
        if not inputs:
            env.say(f"No keyboard. {_ADVICE.get(sys.platform, _ADVICE['linux'])}")
            env.say("Without one: undersong play ARRANGEMENT --player demo")
    if options.latency is not None:
        _keep_latency(options, env, options.latency)
    if options.tap:
        _tap(options, env, driver, chosen)
    if options.check:
        if chosen is not None:
            check_touch(driver, chosen, options, env)
        _check_sound(options, env)
    return ExitStatus.DONE


def _as_json(api: ApiPorts) -> dict[str, Any]:
    return {
        "api": api.api,
        "inputs": list(api.inputs),
        "outputs": list(api.outputs),
        "problem": api.problem or None,
    }


def _say_api(env: Environment, api: ApiPorts, chosen: str | None) -> None:
    env.say(f"{api.title}{': ' + api.problem if api.problem else ''}")
    if api.problem:
        return
    for name in api.inputs:
        env.say(f"  in   {name}{'   (would be taken)' if name == chosen else ''}")
    for name in api.outputs:
        env.say(f"  out  {name}")
    if not (api.inputs or api.outputs):
        env.say("  nothing connected")


def _keep_latency(options: argparse.Namespace, env: Environment, latency_ms: float) -> None:
    from dataclasses import replace

    from practice.settings import load_settings, save_settings

    if not 0.0 <= latency_ms <= 1000.0:
        raise UndersongError(f"latency {latency_ms:g}", "", "give milliseconds from 0 to 1000")
    path = find_places(options.data, env.variables).settings
    settings, _ = load_settings(path)
    name = "port_latency_ms" if options.output else "output_latency_ms"
    now = replace(settings, **{name: latency_ms})  # type: ignore[arg-type]
    problem = save_settings(path, now)
    what = f"What is sent to {options.output}" if options.output else "Sound"
    env.say(problem or f"{what} is taken to reach you {latency_ms:g} ms after the computer.")


def _tap(
    options: argparse.Namespace, env: Environment, driver: Driver, keyboard: str | None
) -> None:
    """Find the delay to the player's ear by their own taps, and keep it."""
    from practice.commands.sound_options import open_instrument
    from practice.sound.tap_check import CLICKS, FEWEST, TO_LISTEN, tap_along

    if keyboard is None:
        raise UndersongError("no keyboard to tap on", "--tap", "connect one, or use --latency MS")
    places = find_places(options.data, env.variables)
    instrument = open_instrument(options.output, places, env.clock)
    env.say(f"{CLICKS} clicks: listen to {TO_LISTEN}, then tap any one key with each of the rest.")
    found = tap_along(instrument, driver, keyboard, env.clock)
    if found is None:
        raise UndersongError(f"fewer than {FEWEST} taps came with a click", keyboard, "try again")
    env.say(
        f"Your taps come {found.delay_s * 1000:.0f} ms after the computer's click"
        f" (95 %: {found.low_s * 1000:.0f} to {found.high_s * 1000:.0f}; {found.taps} taps)."
    )
    _keep_latency(options, env, round(max(found.delay_s, 0.0) * 1000, 1))


def check_touch(driver: Driver, name: str, options: argparse.Namespace, env: Environment) -> None:
    """Calibrate a keyboard by playing on it, say what was found, keep it."""
    from practice.ports.instrument_profiles import keep_profile, name_instrument
    from practice.ports.touch_check import ASKED, describe, hear_keyboard, read_touch

    env.say(f"{name}:")
    for line in ASKED:
        env.say(line)
    instrument = read_touch(hear_keyboard(driver, env.clock, name), name_instrument(name))
    if instrument is None:
        env.say("No key was heard; what was known of this keyboard stays as it was.")
        return
    for line in describe(instrument):
        env.say(line)
    keep_profile(find_places(options.data, env.variables).instruments, name, instrument)


def _check_sound(options: argparse.Namespace, env: Environment) -> None:
    """Measure what can be measured without a microphone."""
    from practice.sound.audio_device import check_card
    from practice.sound.delay_check import measure_delay
    from practice.sound.sound import BuiltInPiano, load_piano

    check_card()
    piano = BuiltInPiano(load_piano(find_places(options.data, env.variables).cache), env.clock)
    try:
        delay = measure_delay(piano, env.clock)
    finally:
        piano.close()
    env.say(
        f"Sound: a key is in the audio buffer after {delay.median_s * 1000:.0f} ms"
        f" (95 % within {delay.most_s * 1000:.0f}); gaps: {delay.gaps}."
    )
    env.say(
        "What the card and the loudspeaker add cannot be seen from here: --tap finds it by your own"
        " taps, --latency MS keeps what you found otherwise."
    )
