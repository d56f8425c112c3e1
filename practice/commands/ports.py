"""`undersong ports`: what MIDI there is, and what to do where there is nothing."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

from practice.environment import Environment, ExitStatus, find_places

if TYPE_CHECKING:
    from practice.ports import ApiPorts

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


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """List the ports."""
    from practice.commands.output import write_json
    from practice.port_names import choose_name
    from practice.rtmidi_driver import RtmidiDriver
    from practice.settings import load_settings

    driver = RtmidiDriver()
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
