"""The second piano: keeps the pulse, plays the other hand, plays the page to the player.

A thread of its own owns it. Whoever calls puts a word into its queue and goes on.
"""

from __future__ import annotations

import math
import queue
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from engine.accompany.clicks import Click, Weight, list_clicks, list_count_in
from engine.accompany.companion import SOFTER, Companion, Cue
from engine.accompany.remembered import Remembered
from engine.arrangement import Arrangement, Hands
from engine.errors import UndersongError
from engine.follow import Follower
from engine.performance import DAMPER, KeyEvent, NotePairer, PlayedNote
from engine.tone.click import ACCENT, BEAT, PART, PERCUSSION_CHANNEL
from practice.clock import Clock
from practice.drill import Drill
from practice.listen.happenings import (
    Asked,
    EventHeard,
    Happening,
    PulseBegan,
    PulseEnded,
    TakeBegan,
    TakeEnded,
)
from practice.snapshot import Command
from practice.sound.accompany import Accompanist
from practice.sound.again import play_again
from practice.sound.instrument import Instrument
from practice.sound.page import PageChoice, Part, find_part, play_page

#: What should have sounded longer ago than this is left out, not caught up with in a heap.
STALE_S = 0.15
CLICK_LEVEL: dict[Weight, int] = {"accent": 112, "beat": 92, "part": 64}
CLICK_KEY: dict[Weight, int] = {"accent": ACCENT, "beat": BEAT, "part": PART}
CLICK_S = 0.05
_PULSE, _HAND, _PAGE = "pulse", "hand", "page"

Timed = tuple[float, bytes]


@dataclass(frozen=True, slots=True)
class PartnerSettings:
    """What the second piano does.

    Attributes:
        click: a strict pulse is heard. click_parts: clicks a beat.
        other_hand: the hand that is not practised is played.
        part: of that hand: all of it, the line, or the figure alone as a bed.
        level: velocity of its notes in strict pulse.
        softer: than the player by so many steps of velocity, in free pulse.
        own_notes: the player's keys sound here, for keyboards without a sound of their own.
        hand_channel: MIDI channel of the other hand, from 0.
    """

    click: bool = True
    click_parts: int = 1
    other_hand: bool = False
    part: Part = "all"
    level: int = 54
    softer: int = SOFTER
    own_notes: bool = False
    hand_channel: int = 0


class SecondPiano:
    """Plays with the player.

    Args:
        arrangement: what is played from.
        open_instrument: opens what is played upon; called on the partner's thread, for it may
            take seconds. If it raises, the reason is in `problem` and nothing sounds.
        clock: the stamping clock.
        settings: see there.
        remembered: the player's timing in earlier takes, if any.
        at_once: open the instrument now; else when it is first needed.
    """

    def __init__(
        self,
        arrangement: Arrangement,
        open_instrument: Callable[[], Instrument],
        clock: Clock,
        settings: PartnerSettings,
        remembered: Remembered | None = None,
        at_once: bool = False,
    ) -> None:
        self._arrangement = arrangement
        self._open_instrument = open_instrument
        self._clock = clock
        self._settings = settings
        self._remembered = remembered
        self._at_once = at_once
        self._instrument: Instrument | None = None
        self._accompanist: Accompanist | None = None
        self._following: _Following | None = None
        self._drill: Drill | None = None
        self._problem = ""
        #: Set once the instrument is open, or cannot be.
        self.ready = threading.Event()
        #: Words that could not be acted on; should stay 0.
        self.failures = 0
        self._queue: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="partner", daemon=True)
        self._thread.start()

    # from any thread

    @property
    def problem(self) -> str:
        """Why there is no sound, "" where there is."""
        return self._problem or (self._instrument.problem if self._instrument else "")

    def hear(self, event: KeyEvent) -> None:
        """What the player plays, on the driver's thread, at once."""
        if self._settings.own_notes and self._instrument is not None:
            self._instrument.play_now(event.data)

    def notice(self, happening: Happening) -> None:
        """What the session says: a pulse began or ended, a key was heard, listen, hush."""
        self._queue.put(lambda: self._notice(happening))

    def close(self) -> None:
        """Silence everything and let the instrument go. Waits until that is done."""
        self._queue.put(None)
        self._thread.join(15.0)

    # on the partner's thread

    def _run(self) -> None:
        if self._at_once:
            self._open()
        try:
            while (word := self._queue.get()) is not None:
                try:
                    word()
                except Exception as error:
                    self._fail(error)
        finally:
            if self._accompanist:
                self._accompanist.close()

    def _open(self) -> None:
        """Open the instrument if that was not tried before."""
        if self.ready.is_set():
            return
        try:
            self._instrument = self._open_instrument()
            self._accompanist = Accompanist(self._instrument, self._clock)
        except UndersongError as error:
            self._problem = str(error)
        except Exception as error:
            self._fail(error)
        self.ready.set()

    def _fail(self, error: Exception) -> None:
        self.failures += 1
        self._hush()
        self._problem = f"the second piano failed ({type(error).__name__}: {error})"

    def _begin(self, pulse: PulseBegan) -> None:
        if not (self._settings.click or self._plays_other_hand):
            return
        self._open()
        events: list[Timed] = []
        if self._settings.click:
            parts = self._drill.click_parts if self._drill else 0
            parts = parts or self._settings.click_parts
            events += list_pulse(self._arrangement, pulse, parts)
        other = other_hand(pulse.hands)
        if self._plays_other_hand and other:
            settings = self._settings
            choice = PageChoice(pulse.span, other, settings.part, pulse.rate, settings.level)
            events += self._on_hand_channel(_play_if_any(self._arrangement, choice, pulse.start_s))
        if pulse.count_in_s:
            self._play(_PULSE, events)
        elif self._accompanist:  # straight on: what is left of the pass before still sounds
            self._accompanist.add(drop_stale(events, self._clock.now_s()), _PULSE)

    @property
    def _plays_other_hand(self) -> bool:
        """The player wants it always, or the drill does."""
        return self._settings.other_hand or (self._drill is not None and self._drill.other_hand)

    def _ask(self, command: Command) -> None:
        if command.kind == "hush":
            self._hush()
        elif command.kind == "listen" and "pass" in command.extra:
            record = command.extra["pass"]
            self._open()
            self._hush()
            again = play_again(record.notes, record.pedals, command.extra["start_s"])
            self._play(_PAGE, self._on_hand_channel(again))
        elif command.kind == "listen" and "events" in command.extra:
            self._open()
            self._hush()
            self._play(_PAGE, self._on_hand_channel(command.extra["events"]))
        elif command.kind == "listen" and command.span is not None:
            self._open()
            self._arrangement = command.extra.get("arrangement", self._arrangement)
            part: Part = command.extra.get("part", "all")
            choice = PageChoice(
                command.span, command.hands or "both", part, command.rate or 1.0,
                pedal=command.extra.get("pedal", True),
            )  # fmt: skip
            start_s = command.extra.get("start_s", self._clock.now_s())
            self._hush()
            page = self._on_hand_channel(_play_if_any(self._arrangement, choice, start_s))
            self._play(_PAGE, begin_within(page, self._clock.now_s()))

    def _hush(self) -> None:
        if self._accompanist:
            self._accompanist.stop()

    def _notice(self, happening: Happening) -> None:
        if isinstance(happening, EventHeard):
            self._follow(happening.event)
        elif isinstance(happening, TakeBegan):
            self._arrangement, self._drill = happening.arrangement, happening.drill
            self._following = self._start_following(happening)
        elif isinstance(happening, PulseBegan):
            self._begin(happening)
        elif isinstance(happening, PulseEnded):
            self._take_back(_PULSE)
        elif isinstance(happening, TakeEnded):
            if self._following:
                self._move_damper(0)
            self._following = None
            self._take_back(_HAND)
        elif isinstance(happening, Asked):
            self._ask(happening.command)

    def _follow(self, event: KeyEvent) -> None:
        if not self._following:
            return
        if event.data[0] & 0xF0 == 0xB0 and event.data[1] == DAMPER:
            self._move_damper(event.data[2])  # one foot for both hands
        cues = self._following.hear(event)
        if cues is not None:
            self._play(_HAND, self._cues_as_events(cues))

    def _move_damper(self, value: int) -> None:
        if self._instrument:
            channel = self._settings.hand_channel
            self._instrument.play_now(bytes([0xB0 | channel, DAMPER, value]))

    def _start_following(self, began: TakeBegan) -> _Following | None:
        drill = began.drill
        if not self._plays_other_hand or drill.pulse_kind != "free" or not drill.hands:
            return None
        if other_hand(drill.hands) is None:
            return None
        self._open()
        settings = self._settings
        only = None
        if settings.part != "all":
            only = find_part(self._arrangement, settings.part)
        companion = Companion(
            self._arrangement, drill.span, drill.hands, drill.rate, self._remembered, only,
            settings.softer,
        )  # fmt: skip
        follower = Follower(self._arrangement, drill.span, drill.hands)
        return _Following(self._arrangement, follower, companion, began.start_s)

    def _cues_as_events(self, cues: Iterable[Cue]) -> list[Timed]:
        channel = self._settings.hand_channel
        events: list[Timed] = []
        for cue in cues:
            events.append((cue.time_s, bytes([0x90 | channel, cue.pitch, cue.velocity])))
            events.append((cue.until_s, bytes([0x80 | channel, cue.pitch, 64])))
        return events

    def _on_hand_channel(self, events: Iterable[KeyEvent]) -> list[Timed]:
        channel = self._settings.hand_channel
        return [(e.time_s, bytes([e.data[0] & 0xF0 | channel]) + e.data[1:]) for e in events]

    def _play(self, tag: str, events: list[Timed]) -> None:
        if self._accompanist:
            self._accompanist.replace(tag, drop_stale(events, self._clock.now_s()))

    def _take_back(self, tag: str) -> None:
        if self._accompanist:
            self._accompanist.take_back(tag)


class _Following:
    """A player followed in free pulse: from messages to the other hand's cues."""

    def __init__(
        self, arrangement: Arrangement, follower: Follower, companion: Companion, start_s: float
    ) -> None:
        self._onset_q = arrangement.table["onset_q"]
        self._pairer = NotePairer()
        self._follower = follower
        self._companion = companion
        self._start_s = start_s

    def hear(self, event: KeyEvent) -> list[Cue] | None:
        """The cues from now on; None where the message changes nothing. Times on the clock."""
        cues = None
        for thing in self._pairer.hear(event):
            if isinstance(thing, PlayedNote) and math.isnan(thing.release_s):
                cues = self._strike(thing) or cues
        return cues

    def _strike(self, note: PlayedNote) -> list[Cue] | None:
        for finding in self._follower.hear(note):
            told = finding.score if finding.what == "right" else finding.stands_for
            if finding.played == note.index and told is not None and finding.what != "ornament":
                onset_s = note.onset_s + self._start_s
                at_q = float(self._onset_q[told])
                return self._companion.hear(at_q, onset_s, note.pitch, note.velocity)
        return None


def other_hand(hands: Hands | None) -> Hands | None:
    """The hand left to the partner; None where there is none."""
    return {"left": "right", "right": "left"}.get(hands or "")  # type: ignore[return-value]


def list_pulse(arrangement: Arrangement, pulse: PulseBegan, parts: int) -> list[Timed]:
    """The clicks of a strict pulse as messages, the count-in first."""
    from_q, to_q = pulse.span.quarters(arrangement)
    events: list[Timed] = []
    counted = list_count_in(arrangement, from_q, len(pulse.count_in_s), parts)
    for k, click in enumerate(counted):
        events += _click(click, _count_in_s(pulse, k, parts))
    from_s = float(arrangement.seconds_at(float(from_q)))
    for click in list_clicks(arrangement, from_q, to_q, parts):
        into_s = float(arrangement.seconds_at(float(click.onset_q))) - from_s
        events += _click(click, pulse.start_s + into_s / pulse.rate)
    return events


def _count_in_s(pulse: PulseBegan, k: int, parts: int) -> float:
    """The moment of the k-th click of the count-in."""
    beat, part = divmod(k, parts)
    edges = (*pulse.count_in_s, pulse.start_s)
    return edges[beat] + (edges[beat + 1] - edges[beat]) * part / parts


def _click(click: Click, time_s: float) -> list[Timed]:
    key, level = CLICK_KEY[click.weight], CLICK_LEVEL[click.weight]
    on, off = 0x90 | PERCUSSION_CHANNEL, 0x80 | PERCUSSION_CHANNEL
    return [(time_s, bytes([on, key, level])), (time_s + CLICK_S, bytes([off, key, 64]))]


def drop_stale(events: Iterable[Timed], now_s: float) -> list[Timed]:
    """Events without those that should have begun long ago; endings are kept."""
    return [
        (time_s, data)
        for time_s, data in events
        if time_s >= now_s - STALE_S or data[0] & 0xF0 != 0x90 or data[2] == 0
    ]


def begin_within(events: list[Timed], now_s: float) -> list[Timed]:
    """What is left of events at a moment in them, in silence: the pedals as they are then."""
    pedals = {d[:2]: (now_s, d) for t, d in events if t < now_s and d[0] & 0xF0 == 0xB0}
    return [*pedals.values(), *((t, d) for t, d in events if t >= now_s)]


def _play_if_any(arrangement: Arrangement, choice: PageChoice, start_s: float) -> list[KeyEvent]:
    try:
        return play_page(arrangement, choice, start_s)
    except UndersongError:
        return []  # the other hand has nothing there: the click goes on alone
