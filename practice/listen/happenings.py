"""What comes out of a session besides its picture: things for others to do, as plain data."""

from __future__ import annotations

from dataclasses import dataclass

from engine.arrangement import Arrangement, Hands, Span
from engine.findings import Finding
from engine.performance import KeyEvent, PedalMove, PlayedNote, Pulse
from practice.drill import Drill
from practice.snapshot import Command


@dataclass(frozen=True, slots=True)
class TakeBegan:
    """A recording begins. `start_s`: its zero on the session's clock."""

    take: int
    start_s: float
    arrangement: Arrangement
    drill: Drill
    port: str


@dataclass(frozen=True, slots=True)
class EventHeard:
    """A message of the take, seconds from its zero."""

    take: int
    event: KeyEvent


@dataclass(frozen=True, slots=True)
class PassEnded:
    """A pass is over and may be reviewed.

    Attributes:
        arrangement: what it was played from.
        take: which recording of the session. number: of the pass in the session, from 1.
        first: number of its first note in the take.
        notes: numbered from 0; times from the take's zero. pedals: likewise.
        span, hands, pulse: as it was set; hands None where the playing shall tell.
        drill_number: of the drill it was played in.
    """

    arrangement: Arrangement
    take: int
    number: int
    first: int
    notes: tuple[PlayedNote, ...]
    pedals: tuple[PedalMove, ...]
    span: Span
    hands: Hands | None
    pulse: Pulse
    drill_number: int = 0


@dataclass(frozen=True, slots=True)
class TakeEnded:
    """A recording is over, with the findings that stood while it was played (its own numbers)."""

    take: int
    notes: tuple[PlayedNote, ...]
    pedals: tuple[PedalMove, ...]
    live: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class PulseBegan:
    """A strict pulse: click the count-in, and on from the downbeat.

    Attributes:
        count_in_s: moments of the count-in's beats on the session's clock.
        start_s: the downbeat on the session's clock, where `span` begins.
        rate: share of the marked tempo.
    """

    count_in_s: tuple[float, ...]
    start_s: float
    span: Span
    hands: Hands | None
    rate: float


@dataclass(frozen=True, slots=True)
class PulseEnded:
    """No more clicks."""


@dataclass(frozen=True, slots=True)
class Asked:
    """The player asked for something that is not the session's own affair."""

    command: Command


Happening = TakeBegan | EventHeard | PassEnded | TakeEnded | PulseBegan | PulseEnded | Asked
