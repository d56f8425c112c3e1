"""The recording under way: what was heard since its zero, and what stood of each note."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from engine.findings import Finding
from engine.performance import DAMPER, KeyEvent, NotePairer, PedalMove, PlayedNote
from practice.listen.follows import FollowsNotes
from practice.store.event_blobs import step_event


class TakeUnderWay:
    """One recording while it is made.

    Args:
        number: which recording of the session, from 1.
        start_s: its zero on the session's clock.
        follower: hears the notes that are judged.
        faults: takes what goes wrong while a note is followed.
        keeps_all: hold all notes and what was said of them, for whoever asks afterwards.
    """

    def __init__(
        self,
        number: int,
        start_s: float,
        follower: FollowsNotes,
        faults: list[str],
        keeps_all: bool = True,
    ) -> None:
        self.number = number
        self.start_s = start_s
        self.last_s = 0.0
        self.pedals: list[PedalMove] = []
        self.held: dict[int, PedalMove] = {}
        self._pairer = NotePairer()
        self._follower = follower
        self._faults = faults
        self._keeps_all = keeps_all
        #: How many notes the follower heard.
        self.judged = 0
        self._notes: dict[int, PlayedNote] = {}
        self._numbers: list[int] = []
        self._live: dict[int, Finding] = {}

    @property
    def notes(self) -> tuple[PlayedNote, ...]:
        """All notes so far, numbered from 0; none unless all are kept."""
        return tuple(self._notes.values())

    @property
    def keys_down(self) -> tuple[int, ...]:
        """Pitches now held."""
        return self._pairer.keys_down

    @property
    def damper(self) -> int:
        """Where the damper pedal is, 0 to 127."""
        return self.held[DAMPER].value if DAMPER in self.held else 0

    @property
    def doubt(self) -> bool:
        """The follower is lost, or another place would do as well."""
        place = self._follower.place
        return bool(self.judged and (place.lost or place.alternatives_q))

    @property
    def live(self) -> tuple[Finding, ...]:
        """The finding that stood for each judged note, in the take's numbers."""
        return tuple(
            replace(finding, played=self._numbers[judged])
            for judged, finding in sorted(self._live.items())
        )

    def place_event(self, event: KeyEvent) -> KeyEvent:
        """The event in the take's own time, as the store keeps it; time never goes back."""
        placed = step_event(event, self.start_s)
        placed = replace(placed, time_s=max(placed.time_s, self.last_s))
        self.last_s = placed.time_s
        return placed

    def pair(self, placed: KeyEvent) -> list[PlayedNote | PedalMove]:
        """Notes begun (release nan) and ended, and pedal moves, by one event."""
        things = self._pairer.hear(placed)
        for thing in things:
            if isinstance(thing, PedalMove):
                self.held[thing.controller] = thing
            if not self._keeps_all:
                continue
            if isinstance(thing, PedalMove):
                self.pedals.append(thing)
            else:
                self._notes[thing.index] = thing
        return things

    def judge(self, note: PlayedNote) -> list[Finding]:
        """Let the follower hear a note; its findings, in its own numbers.

        Should the follower fail, the note stays in the take all the same, and in the pass that is
        judged afterwards; only what is said of it at once is missing.
        """
        judged = self.judged
        self.judged += 1
        if self._keeps_all:
            self._numbers.append(note.index)
        try:
            findings = self._follower.hear(replace(note, index=judged))
        except Exception as error:
            self._faults.append(f"{type(error).__name__}: {error}")
            return []
        self._learn(findings)
        return findings

    def tick(self, now_s: float) -> list[Finding]:
        """Time has passed: what became final."""
        findings = self._follower.tick(now_s)
        self._learn(findings)
        return findings

    def finish(self) -> None:
        """It is over: what the follower still held back."""
        self._learn(self._follower.finish())

    def _learn(self, findings: Iterable[Finding]) -> None:
        if self._keeps_all:
            self._live.update({f.played: f for f in findings if f.played is not None})
