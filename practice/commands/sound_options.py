"""Options for what is heard, and the second piano that they ask for."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from engine.errors import UndersongError
from practice.commands.options import positive_count

if TYPE_CHECKING:
    from engine.arrangement import Arrangement
    from engine.tone.piano import Piano
    from practice.clock import Clock
    from practice.drill import Drill
    from practice.environment import Places
    from practice.settings import Settings
    from practice.sound.instrument import Instrument
    from practice.sound.partner import SecondPiano


def add_sound_options(parser: argparse.ArgumentParser) -> None:
    """--out, --sound-font, --other-hand, --click-parts, --no-click, --own-notes, --silent."""
    sound = parser.add_argument_group("sound")
    sound.add_argument(
        "--out", dest="output", metavar="PORT", help="a MIDI output instead of the built-in piano"
    )
    add_sound_font(sound)
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


def add_sound_font(where: argparse._ActionsContainer) -> None:
    """--sound-font."""
    where.add_argument(
        "--sound-font", metavar="FILE", default="",
        help="a SoundFont (.sf2) instead of the built-in piano; needs undersong[soundfont];"
        " sound_font in settings.json keeps one",
    )  # fmt: skip


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
        font = options.sound_font or settings.sound_font
        return open_instrument(port, places, clock, find_latency_s(settings, port), font)

    remembered = remember_takes(places, arrangement) if options.other_hand else None
    return SecondPiano(arrangement, open_now, clock, wanted, remembered, at_once=needed)


def open_instrument(
    port: str, places: Places, clock: Clock, latency_s: float = 0.0, font: str = ""
) -> Instrument:
    """The instrument on a MIDI output, or a piano of the program's own where no port is named.

    Args:
        latency_s: from the message or the sample handed over to the ear.
        font: the file of a SoundFont, "" for the built-in piano.

    Raises:
        UndersongError: there is no such port, no sound card, or no such SoundFont.
    """
    if port:
        from practice.ports.rtmidi_driver import system_driver
        from practice.sound.instrument import MidiInstrument
        from practice.sound.outlet import Outlet

        return MidiInstrument(Outlet(system_driver(), port), latency_s)
    from practice.sound.audio_device import check_card
    from practice.sound.sound import BuiltInPiano

    check_card()  # before the keys are rendered, which takes some seconds the first time
    return BuiltInPiano(find_piano(font, places), clock, latency_s)


def find_latency_s(settings: Settings, port: str) -> float:
    """The delay that was found for a MIDI output, or for the built-in sound where none is named."""
    return (settings.port_latency_ms if port else settings.output_latency_ms) / 1000


def find_piano(font: str, places: Places) -> Piano:
    """The keys of a SoundFont, or the built-in piano's where none is named.

    Raises:
        UndersongError: the SoundFont cannot be used.
    """
    if font:
        from practice.sound.sound_font import load_sound_font

        return load_sound_font(font, places.cache)
    from practice.sound.sound import load_piano

    return load_piano(places.cache)
