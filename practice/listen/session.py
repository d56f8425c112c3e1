"""The session at the keyboard, as a machine with no thread and no clock: messages and times in,
happenings and a picture out. Fed the same, it says the same, at any speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import cast, get_args

from engine.arrangement import Arrangement
from engine.drill.sheet import Gesture
from engine.findings import Finding
from engine.performance import DAMPER, SOFT, KeyEvent, PedalMove, PlayedNote
from practice.drill import Drill, carry_span
from practice.drills.gestures import Said
from practice.listen.count_in import beat_at
from practice.listen.happenings import (
    Asked,
    EventHeard,
    Happening,
)
from practice.listen.kept_hearing import HearingTakes
from practice.listen.listening import BREATH_S, Listening
from practice.listen.stretch import Stretch
from practice.listen.take_under_way import TakeUnderWay
from practice.snapshot import Command, State

#: A take ends when nothing was played for so long.
TAKE_SILENCE_S = 60.0
#: A stamp made from the computer's keys may be off by so much.
COMPUTER_KEY_S = 0.01


@dataclass(frozen=True, slots=True)
class Picture:
    """The session at one moment. `beat`: (number from 1, beats in the bar) of a strict pulse.

    `heard`: the kept take that is played to the player.
    """

    drill: Drill
    state: State
    port: str
    connected: bool
    take: int = 0
    place_q: float | None = None
    doubt: bool = False
    notes: tuple[PlayedNote, ...] = ()
    findings: tuple[Finding, ...] = ()
    damper: int = 0
    pedals: tuple[PedalMove, ...] = ()
    beat: tuple[int, int] | None = None
    passes_played: int = 0
    heard: str = ""


class Session(Stretch):
    """What is played, cut into takes and passes and followed while it is played.

    Args:
        arrangement: what is played from.
        drill: what to practise, changed by commands.
        make_follower: a new follower for a span and hands.
    """

    # what comes in

    def hear(self, event: KeyEvent) -> list[Happening]:
        """One message from the keyboard, on the session's clock."""
        self._hear(event)
        return self._told()

    def _hear(self, event: KeyEvent) -> None:
        self._pass_time(event.time_s)
        if self._gestures.is_gesture(event):
            self._obey(self._gestures.hear(event), event.time_s)
            return
        take = self._take_for(event)
        if take is not None:
            placed = take.place_event(event)
            self._out.append(EventHeard(take.number, placed))
            for thing in take.pair(placed):
                self._hear_thing(take, thing)
            self._end_if_over()

    def tick(self, now_s: float) -> list[Happening]:
        """Time has passed, and every message stamped before `now_s` was heard."""
        self._pass_time(now_s)
        return self._told()

    def port_changed(self, name: str, connected: bool, now_s: float) -> list[Happening]:
        """The keyboard came or went. What it left down comes up."""
        if not connected:
            self._let_go(now_s)
        self._port, self._connected = name, connected
        return self._told()

    def let_go(self, now_s: float) -> list[Happening]:
        """Releases were lost: whatever is down comes up."""
        self._let_go(now_s)
        return self._told()

    def tell(self, command: Command, now_s: float) -> list[Happening]:
        """The player asked for something."""
        self._pass_time(now_s)
        act = getattr(self, f"_do_{command.kind.replace('-', '_')}", None)
        if act is None:
            self._out.append(Asked(command))
        else:
            act(command, now_s)
        return self._told()

    def end(self, now_s: float) -> list[Happening]:
        """No more will be played."""
        self._let_go(now_s)
        self._pass_time(now_s)
        self._finish("ended")
        return self._told()

    # what is seen

    @property
    def arrangement(self) -> Arrangement:
        """What is played from now."""
        return self._arrangement

    @property
    def state(self) -> State:
        """What the session is doing."""
        if self._state == "waiting" and not self._connected:
            return "no-keyboard"
        return self._state

    @property
    def message(self) -> str:
        """A warning that stays until it no longer holds."""
        if self._port and not self._connected:
            return f"keyboard unplugged ({self._port}): plug it in again, nothing is lost"
        return ""

    def unfollowed(self, now_s: float) -> str:
        """What the page cannot follow of the take that is played to the player."""
        heard = self._listening
        return heard.note(now_s) if isinstance(heard, HearingTakes) else ""

    def glance(self, now_s: float) -> tuple[State, tuple[int, int] | None, float | None]:
        """What time alone may change: the state, the beat, the place of what is being heard."""
        beat = None
        if self._take is not None and self._pulse is not None:
            beat = beat_at(self._arrangement, self._pulse, now_s - self._take.start_s)
        if self._pass is not None:
            return self.state, beat, self._pass.place_q
        return self.state, beat, self._listening.place_q(now_s) if self._listening else None

    def picture(self, now_s: float) -> Picture:
        """The session at this moment."""
        take, one = self._take, self._pass
        state, beat, place_q = self.glance(now_s)
        picture = Picture(self._drill, state, self._port, self._connected)
        if isinstance(self._listening, HearingTakes):
            picture = replace(picture, heard=self._listening.name(now_s))
        picture = replace(picture, passes_played=self._passes, beat=beat, place_q=place_q)
        if take is not None:
            picture = replace(picture, take=take.number, damper=take.damper, doubt=take.doubt)
        if one is not None:
            picture = replace(
                picture,
                notes=tuple(one.notes),
                findings=one.findings,
                pedals=tuple(one.pedals),
            )
        return picture

    # time

    def _pass_time(self, now_s: float) -> None:
        if self._listening is not None and now_s >= self._listening.end_s:
            self._end_listening()
        self._obey(self._gestures.tick(now_s), now_s)
        take = self._take
        if take is None:
            return
        at_s = now_s - take.start_s
        findings = take.tick(at_s)
        if self._pass:
            self._pass.learn(findings)
        self._count_in_over(at_s)
        self._turn_round(take, at_s)
        self._end_if_over(at_s)
        if self._pass is None and at_s >= self._rest_until_s:
            self._arm(now_s)
        elif self._is_idle(take) and at_s - take.last_s >= TAKE_SILENCE_S:
            self._end_take()

    def _is_idle(self, take: TakeUnderWay) -> bool:
        return self._pass is None and self._pulse is None and not take.keys_down

    def _count_in_over(self, at_s: float) -> None:
        if self._state == "count-in" and self._pulse and at_s >= self._pulse.start_s:
            self._begin_pass(self._pulse.start_s)

    def _end_if_over(self, at_s: float = math.nan) -> None:
        """End the pass where it is over at `at_s`, or (nan) by the last event itself."""
        take, one = self._take, self._pass
        if take is None or one is None:
            return
        over_s = one.over_at_s(bool(take.keys_down), self._pulse_end_s())
        if over_s <= (take.last_s if math.isnan(at_s) else at_s):
            self._end_pass(over_s)

    # notes and pedals

    def _take_for(self, event: KeyEvent) -> TakeUnderWay | None:
        if self._take is None and self._state != "ended" and _begins_take(event):
            self._begin_take(event.time_s)
        return self._take

    def _hear_thing(self, take: TakeUnderWay, thing: PlayedNote | PedalMove) -> None:
        if isinstance(thing, PedalMove):
            self._move_pedal(take, thing)
        elif math.isnan(thing.release_s):
            self._strike(take, thing)
        elif self._pass:
            self._pass.lift(thing)

    def _move_pedal(self, take: TakeUnderWay, move: PedalMove) -> None:
        if self._pass:
            self._pass.pedals.append(move)
            return
        self._ringing.hear(move)
        if move.controller == SOFT and move.value >= 64 and self._waits_for_gesture():
            self._arm(take.start_s + move.time_s)

    def _strike(self, take: TakeUnderWay, note: PlayedNote) -> None:
        if self._listening is not None:
            self._hush()
        if self._waits_for_gesture():
            self._arm(take.start_s + note.onset_s)
            return
        if self._pulse and note.onset_s < self._pulse.start_s - self._early_s:
            return  # played into the count-in
        was_at_end = self._pass is not None and self._pass.at_end
        judged = take.judged
        findings = take.judge(note)
        if was_at_end and self._pass and self._pass.is_back(findings, judged):
            self._end_pass(note.onset_s)
        one = self._pass or self._begin_pass(note.onset_s)
        one.strike(note, judged)
        one.learn(findings)

    def _waits_for_gesture(self) -> bool:
        strict = self._drill.pulse_kind == "strict"
        return strict and self._pass is None and self._pulse is None and self._state != "ended"

    def _let_go(self, now_s: float) -> None:
        """Close what hangs: keys and pedals left down."""
        if self._take is None:
            return
        ups = [bytes((0x80, pitch, 0)) for pitch in self._take.keys_down]
        ups += [bytes((0xB0, c, 0)) for c, move in self._take.held.items() if move.value]
        for data in ups:
            placed = self._take.place_event(KeyEvent(now_s, COMPUTER_KEY_S, data))
            self._out.append(EventHeard(self._take.number, placed))
            for thing in self._take.pair(placed):
                self._hear_thing(self._take, thing)

    # commands

    def _do_drill(self, command: Command, now_s: float) -> None:
        """The coach's word: at once between passes, else when the pass is over. Another drill
        begins at once; a word of the one before it, or of one that was left, comes too late."""
        new: Drill = command.extra["drill"]
        if new.number > self._drill.number:
            self._coming = None
            self._change(new)
        if new.number != self._drill.number or new.number == self._left or new is self._drill:
            return
        self._coming = new
        if command.extra.get("over"):
            self._drill = replace(self._drill, reason=new.reason)
            self._coming = None
            self._finish("ended")
        elif new == replace(self._drill, reason=new.reason):
            self._drill, self._coming = new, None
        elif self._state == "count-in":
            self._count_in_anew(now_s)
        elif self._pass is None:
            self._take_up(now_s)

    def _obey(self, said: Said, now_s: float) -> None:
        """A gesture of the player's."""
        if said == "again":
            self._do_again(Command("again"), now_s)
        elif said == "next":
            self._out.append(Asked(Command("next")))

    def _leave_for(self, drill: Drill) -> None:
        """The player's own choice of bars, hands or pulse: the coach is not heard until the next
        drill, and a number of passes that was the drill's holds no longer."""
        self._left = drill.number
        self._change(replace(drill, passes=0 if drill.number else drill.passes, reason=""))
        self._out.append(Asked(Command("left")))

    def _do_span(self, command: Command, _now_s: float) -> None:
        if command.span is not None:
            self._leave_for(replace(self._drill, span=command.span))

    def _do_hands(self, command: Command, _now_s: float) -> None:
        self._leave_for(replace(self._drill, hands=command.hands))

    def _do_pulse(self, command: Command, _now_s: float) -> None:
        if command.pulse_kind is not None:
            self._leave_for(replace(self._drill, pulse_kind=command.pulse_kind))

    def _do_rate(self, command: Command, _now_s: float) -> None:
        if command.rate is not None:
            self._change(replace(self._drill, rate=command.rate))

    def _do_gesture(self, command: Command, _now_s: float) -> None:
        """Hands-free: what means "again" from now on."""
        if command.name in get_args(Gesture):
            self._change(replace(self._drill, gesture=cast(Gesture, command.name)))

    def _do_arrangement(self, command: Command, _now_s: float) -> None:
        """The score was saved anew: practising goes on in the same bars."""
        new: Arrangement = command.extra["arrangement"]
        self._finish("waiting")
        span = carry_span(self._arrangement, new, self._drill.span)
        self._arrangement = new
        self._change(replace(self._drill, span=span))

    def _do_listen(self, command: Command, now_s: float) -> None:
        """Have the span (or the one named), or a pass again, played by the partner, the page
        following."""
        self._stop_pass()
        self._rest_until_s = math.inf
        if "pass" in command.extra:
            self._hear_again(command, now_s + BREATH_S)
            return
        if "takes" in command.extra:
            self._hear_takes(command, now_s + BREATH_S)
            return
        drill = self._drill
        span, hands = command.span or drill.span, command.hands or drill.hands or "both"
        rate, start_s = command.rate or drill.rate, now_s + BREATH_S
        self._listening = Listening(self._arrangement, span, hands, rate, start_s)
        self._state = "listening"
        extra = {**command.extra, "start_s": start_s, "arrangement": self._arrangement}
        self._out.append(Asked(replace(command, span=span, hands=hands, rate=rate, extra=extra)))

    def _do_hush(self, _command: Command, _now_s: float) -> None:
        self._hush()

    def _do_again(self, _command: Command, now_s: float) -> None:
        if self._listening is not None:
            self._hush()
        self._stop_pass()
        if self._drill.pulse_kind == "strict":
            self._arm(now_s)
        else:
            self._state = "waiting"

    def _do_stop(self, _command: Command, _now_s: float) -> None:
        if self._listening is not None:
            self._hush()
        self._stop_pass()
        self._rest_until_s = math.inf

    def _do_quit(self, _command: Command, _now_s: float) -> None:
        self._finish("ended")

    def _do_key_down(self, command: Command, now_s: float) -> None:
        data = bytes((0x90, command.pitch, command.velocity))
        self._hear(KeyEvent(now_s, COMPUTER_KEY_S, data))

    def _do_key_up(self, command: Command, now_s: float) -> None:
        self._hear(KeyEvent(now_s, COMPUTER_KEY_S, bytes((0x80, command.pitch, 0))))

    def _told(self) -> list[Happening]:
        told, self._out = self._out, []
        return told


def _begins_take(event: KeyEvent) -> bool:
    """A key or a pedal going down."""
    data = event.data
    if len(data) < 3 or not data[2]:
        return False
    return data[0] & 0xF0 == 0x90 or (data[0] & 0xF0 == 0xB0 and data[1] in (DAMPER, SOFT))
