"""What the listener publishes and what it can be told: the words between its thread and the window.

Snapshots are immutable and cheap to take; the window draws the newest one and never waits.
Commands go into the listener's own queue. Neither side imports the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from engine.arrangement import Arrangement, Hands, Span
from engine.findings import Finding, Slip
from engine.performance import PedalMove, PlayedNote, Pulse

#: no-keyboard: nothing connected; waiting: for the first note (or, strict, for the gesture);
#: count-in: clicks before a strict pass; playing: a pass under way; rest: between two passes;
#: listening: the arrangement is being played to the user; ended: all passes asked for are done.
State = Literal["no-keyboard", "waiting", "count-in", "playing", "rest", "listening", "ended"]
Stage = Literal["unplayed", "reading", "steady", "up to tempo", "secure"]


@dataclass(frozen=True, slots=True)
class PassRecord:
    """One finished pass, with everything that is said of it.

    Attributes:
        number: counts from 1 in this session. take: number in the take store, 0 if not kept.
        span, hands, pulse: as it was set. from_q, to_q: what was played.
        notes, pedals: times in seconds from the start of the take.
        findings: final, whole-take. deviations_ms: per note of `notes`, nan where none.
        slips: named. measures: `engine.measure.Measures`.
        good: a good pass by the definitions in force; why_not: one line where it was not.
        tempo_qpm: the tempo played.
        instrument: what the keyboard is called; passes on two are never compared.
        place: of a run-through among earlier ones, in a line; "" for any other pass.
    """

    number: int
    take: int
    span: Span
    hands: Hands
    pulse: Pulse
    from_q: float
    to_q: float
    notes: tuple[PlayedNote, ...]
    pedals: tuple[PedalMove, ...]
    findings: tuple[Finding, ...]
    deviations_ms: tuple[float, ...]
    slips: tuple[Slip, ...]
    measures: Any
    good: bool
    why_not: str
    tempo_qpm: float
    started: str
    instrument: str = ""
    place: str = ""


@dataclass(frozen=True, slots=True)
class MapCell:
    """A section's standing for one hand: stage, why, date of the last cold pass ("" if never)."""

    section: int
    hands: Hands
    stage: Stage
    reason: str = ""
    last_cold: str = ""
    passes: int = 0


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The session at one moment.

    Attributes:
        version: rises with every publication.
        arrangement, span, hands, pulse_kind, rate: what is being practised and how;
            rate is the share of the marked tempo (strict).
        state, state_text: one short line for the player ("Play when you are ready").
        port: name of the keyboard, "" where none. connected: it is there now.
        place_q: where in the score the player was last heard, None before the first note.
        doubt: the place cannot be told from another (identical passages), or is lost.
        notes: of the pass under way; findings: newest one for each played note and each
            missing score note so far (at most one per played index).
        damper: CC64 value now (0 to 127). pedals: moves of the pass under way.
        beat: (beat number from 1, beats in the bar) of the strict pulse, None when free.
        passes: finished passes of this session, oldest first.
        cells: for the Map.
        said: the newest confirmation, in a line ("Kept for the proof ..."); "" before any.
        message: a warning that stays until it no longer holds ("keyboard unplugged ...").
        lost_notes, failed_callbacks: counts that should stay 0.
        reason: why this task, in a line; "" where the player chose it.
        from_memory: the page hides ahead of the player. run_through: the screen stays quiet.
        heard: what is played to the player, or could be, in a line; "" where that goes without.
        only_heard: a window to listen in: nothing is played by the player.
    """

    version: int
    arrangement: Arrangement
    span: Span
    hands: Hands
    pulse_kind: Literal["free", "strict"]
    rate: float
    state: State
    state_text: str = ""
    port: str = ""
    connected: bool = False
    place_q: float | None = None
    doubt: bool = False
    notes: Sequence[PlayedNote] = ()
    findings: Sequence[Finding] = ()
    damper: int = 0
    pedals: Sequence[PedalMove] = ()
    beat: tuple[int, int] | None = None
    passes: tuple[PassRecord, ...] = ()
    cells: tuple[MapCell, ...] = ()
    message: str = ""
    said: str = ""
    lost_notes: int = 0
    failed_callbacks: int = 0
    reason: str = ""
    from_memory: bool = False
    run_through: bool = False
    heard: str = ""
    only_heard: bool = False


@dataclass(frozen=True, slots=True)
class Said:
    """One line that confirms what the player asked for."""

    text: str


@dataclass(frozen=True, slots=True)
class Command:
    """Something the player asked for.

    kind: span (span=), hands (hands=), pulse (pulse_kind=), rate (rate=), again (start the span
    afresh; arms a strict pass), stop (end the pass now), key-down / key-up (pitch=, from the
    computer's keys), listen (play the span to me, or
    extra["pass"], a record, again, or extra["takes"], kept ones, one after the other), hush,
    port (name=), page-wrong / meant-that
    (pass_number=, slip=: what the player says of a slip, by its index in the record), unsay (that
    taken back), keep
    (pass_number=), next (the drill's next task), drill-sheet (begin the drill of extra["sheet"]
    at extra["places"], found in extra["arrangement"]), gesture (name= off, soft-pedal or
    lowest-key: what means "again"), arrangement (extra["arrangement"]: the score read
    again), fingering (extra["note_id"], extra["fingering"]: set in the window, kept beside
    the score), quit.
    """

    kind: str
    span: Span | None = None
    hands: Hands | None = None
    pulse_kind: Literal["free", "strict"] | None = None
    rate: float | None = None
    pitch: int = 0
    velocity: int = 64
    name: str = ""
    pass_number: int = 0
    slip: int = 0
    extra: dict[str, Any] = field(default_factory=dict)
