"""The score as written, before repeats are unfolded: what every file format is read into.

Offsets `at_q` are exact quarters from the start of the note's own bar.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from engine.arrangement import Grace, Hand


@dataclass(slots=True)
class WrittenNote:
    """One note head.

    `line` counts the runs of notes between backups, so that a voice can be followed; `part` is
    0 for the first of two parts, 1 for the second.
    """

    note_id: str
    at_q: Fraction
    duration_q: Fraction
    pitch: int
    step: str
    alter: int
    octave: int
    staff: int
    voice: str
    line: int = 0
    part: int = 0
    hand: Hand = "right"
    grace: Grace = ""
    optional: bool = False
    ornament: str = ""
    arpeggiated: bool = False
    fingering: str = ""
    tie_start: bool = False
    tie_stop: bool = False


@dataclass(frozen=True, slots=True)
class TempoSign:
    """A tempo printed or sounding at `at_q`. `ratio`: new tempo over old (a metric modulation)."""

    at_q: Fraction
    qpm: float | None
    beat_unit_q: Fraction | None = None
    ratio: Fraction | None = None


@dataclass(frozen=True, slots=True)
class PedalSign:
    """A pedal put down, lifted or changed. `action`: start, stop, change or resume."""

    at_q: Fraction
    action: str
    kind: str = "damper"
    number: str = "1"


@dataclass(frozen=True, slots=True)
class WrittenMark:
    """A mark as in `engine.arrangement.Mark`, at its place in the bar."""

    kind: str
    at_q: Fraction
    text: str = ""
    value: int = 0
    staff: int = 0
    note_id: str = ""


@dataclass(slots=True)
class Ending:
    """A bracket over a bar: the times through that play it; whether it begins or ends here."""

    numbers: frozenset[int] = frozenset()
    begins: bool = False
    ends: bool = False


@dataclass(frozen=True, slots=True)
class Jump:
    """A sign that sends the player elsewhere, or that is a place to be sent to.

    kind: segno, coda, fine, dacapo, dalsegno or tocoda. name pairs signs with places.
    until: "fine" or "coda" where the words say so. times: the times through at which it is
    obeyed, empty for the usual rule. before: obeyed on entering the bar, not on leaving it.
    """

    kind: str
    name: str = ""
    until: str = ""
    times: frozenset[int] = frozenset()
    before: bool = False
    sounding: bool = False


@dataclass(slots=True)
class WrittenBar:
    """One bar of the document."""

    number: str
    duration_q: Fraction = Fraction(0)
    beats: int = 4
    beat_unit: int = 4
    implicit: bool = False
    unmeasured: bool = False
    lead_q: Fraction = Fraction(0)
    fifths: int = 0
    notes: list[WrittenNote] = field(default_factory=list)
    tempos: list[TempoSign] = field(default_factory=list)
    pedals: list[PedalSign] = field(default_factory=list)
    marks: list[WrittenMark] = field(default_factory=list)
    repeat_start: bool = False
    repeat_end: bool = False
    repeat_times: int = 2
    after_jump: bool = False
    ending: Ending | None = None
    jumps: list[Jump] = field(default_factory=list)

    @property
    def signature_q(self) -> Fraction:
        """How long the time signature says the bar is."""
        return Fraction(4 * self.beats, self.beat_unit)


@dataclass(slots=True)
class WrittenScore:
    """A whole document: one piano part, its bars in document order."""

    title: str
    bars: list[WrittenBar]
    spelled: bool = True
    default_qpm: float | None = None
