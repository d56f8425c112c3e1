"""Options that several commands share, and what they come to."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from engine.arrangement import Arrangement
    from practice.drill import Drill


def add_span_options(parser: argparse.ArgumentParser) -> None:
    """--hands, --bars, --section, --pulse, --tempo."""
    parser.add_argument("--hands", choices=("left", "right", "both"), help="which hand(s) play")
    parser.add_argument(
        "--bars", metavar="5-8", default="", help="printed bar numbers; 5-8@2: time 2"
    )
    parser.add_argument("--section", metavar="NAME", default="", help="a section instead of bars")
    parser.add_argument(
        "--pulse", choices=("strict", "free"), help="with the click, or free (default)"
    )
    parser.add_argument(
        "--tempo", metavar="72", default="", help="beats of the tempo mark a minute, or 80%%"
    )


def positive_count(text: str) -> int:
    """A whole number from 1 on."""
    if not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number from 1 on")
    return int(text)


def any_number(text: str) -> float:
    """Any number."""
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number") from None


def positive_number(text: str) -> float:
    """A number above 0."""
    try:
        number = float(text)
    except ValueError:
        number = 0.0
    if not 0.0 < number < 1e6:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number above 0")
    return number


def read_drill(arrangement: Arrangement, options: argparse.Namespace) -> Drill:
    """The drill that the options ask for; naming a tempo asks for a strict pulse."""
    from practice.drill import Drill, find_rate, find_span

    span = find_span(arrangement, options.bars, options.section)
    rate = find_rate(arrangement, span, options.tempo) if options.tempo else 1.0
    pulse: Literal["free", "strict"] = options.pulse or ("strict" if options.tempo else "free")
    return Drill(span, options.hands, pulse, rate, getattr(options, "passes", None) or 0)
