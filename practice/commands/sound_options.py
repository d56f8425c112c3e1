"""Options for what is heard, and the second piano that they ask for."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from engine.errors import UndersongError
from practice.commands.options import positive_count

if TYPE_CHECKING:
    from engine.arrangement import Arrangement
    from practice.clock import Clock
    from practice.drill import Drill
    from practice.environment import Places
    from practice.settings import Settings
    from practice.sound.instrument import Instrument
    from practice.sound.partner import SecondPiano


def add_sound_options(parser: argparse.ArgumentParser) -> None:
    """--out, --other-hand, --click-parts, --no-click, --own-notes, --silent."""
    sound = parser.add_argument_group("sound")
    sound.add_argument(
        "--out", dest="output", metavar="PORT", help="a MIDI output instead of the built-in piano"
    )
    sound.add_argument(
        "--other-hand", action="store_true",
        help="play the hand not practised: on the click, or following you in free pulse",
    )  # fmt: skip
    sound.add_argument(
        "--other-part", choices=("all", "line", "figure"), default="all",
        help="of that hand, the line alone, or the figure alone as a bed",
    )  # fmt: skip
    sound.add_argument(
        "--softer", metavar="N", type=int, default=12,
        help="how much softer than you it plays, in steps of MIDI velocity (12)",
    )  # fmt: skip
    sound.add_argument(
        "--click-parts", metavar="N", type=positive_count, default=1, help="clicks a beat"
    )
    sound.add_argument("--no-click", action="store_true", help="keep a strict pulse in silence")
    sound.add_argument(
        "--own-notes", action="store_true", help="sound your own notes too (silent keyboards)"
    )
    sound.add_argument("--silent", action="store_true", help="no sound at all")


def seat_partner(
    options: argparse.Namespace,
    settings: Settings,
    places: Places,
    arrangement: Arrangement,
    drill: Drill,
    clock: Clock,
) -> SecondPiano | None:
    """The second piano; None where no sound is wanted."""
    from practice.sound.partner import PartnerSettings, SecondPiano
    from practice.sound.remembered_takes import remember_takes

    if options.other_hand and drill.hands not in ("left", "right"):
        raise UndersongError("which hand is yours?", "--other-hand", "say --hands left or right")
    hurried = options.player and options.speed != 1.0
    if options.silent or hurried:
        return None
    port = options.output if options.output is not None else settings.output
    wanted = PartnerSettings(
        click=not options.no_click,
        click_parts=options.click_parts,
        other_hand=options.other_hand,
        part=options.other_part,
        level=min(max(66 - options.softer, 10), 110),
        softer=options.softer,
        own_notes=options.own_notes,
        hand_channel=0 if port else 1,
    )
    needed = drill.pulse_kind == "strict" or options.other_hand or options.own_notes

    def open_now() -> Instrument:
        return open_instrument(port, places, clock, settings.output_latency_ms / 1000)

    remembered = remember_takes(places, arrangement) if options.other_hand else None
    return SecondPiano(arrangement, open_now, clock, wanted, remembered, at_once=needed)


def open_instrument(port: str, places: Places, clock: Clock, latency_s: float = 0.0) -> Instrument:
    """The instrument on a MIDI output, or the built-in piano where no port is named.

    Raises:
        UndersongError: there is no such port, or no sound card.
    """
    if port:
        from practice.ports.rtmidi_driver import RtmidiDriver
        from practice.sound.instrument import MidiInstrument

        return MidiInstrument(RtmidiDriver().open_output(port))
    from practice.sound.audio_device import check_card
    from practice.sound.sound import BuiltInPiano, load_piano

    check_card()  # before the keys are rendered, which takes some seconds the first time
    return BuiltInPiano(load_piano(places.cache), clock, latency_s)
