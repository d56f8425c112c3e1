"""A stretch of practising, cut into takes and passes: when each begins and ends.

The state and the rules that `practice.listen.session` moves along by notes, time and commands.
"""

from __future__ import annotations

import math
from dataclasses import replace

from engine.arrangement import Arrangement
from engine.performance import Pulse
from practice.drill import Drill
from practice.drills.gestures import Gestures
from practice.listen.count_in import count_in, span_length_s
from practice.listen.follows import MakeFollower
from practice.listen.happenings import (
    Asked,
    Happening,
    PassEnded,
    PulseBegan,
    PulseEnded,
    TakeBegan,
    TakeEnded,
)
from practice.listen.kept_hearing import HearingTakes
from practice.listen.listening import HearingAgain, Listening, hear_again
from practice.listen.pace import Silences
from practice.listen.ringing_on import RingingOn
from practice.listen.take_under_way import TakeUnderWay
from practice.listen.under_way import PassUnderWay
from practice.snapshot import Command, State

#: Between two strict passes.
REST_S = 2.0
#: Between the gesture and the first click of the count-in.
ARM_S = 0.5
#: Fewer notes are no pass but a touch of the keys (less where the span itself has less).
LEAST_NOTES = 3


class Stretch:
    """Takes and passes of one drill after another. What happens is gathered in `_out`.

    Args:
        arrangement: what is played from.
        drill: what to practise.
        make_follower: a new follower for a span and hands.
        keeps_all: takes are told with all their notes when they end; else memory does not grow.
    """

    def __init__(
        self,
        arrangement: Arrangement,
        drill: Drill,
        make_follower: MakeFollower,
        keeps_all: bool = True,
    ) -> None:
        self._arrangement = arrangement
        self._make_follower = make_follower
        self._keeps_all = keeps_all
        self._drill = drill
        self._silences = Silences(arrangement, drill.span, drill.hands)
        self._state: State = "waiting"
        self._port, self._connected = "", False
        self._take: TakeUnderWay | None = None
        self._takes = self._passes = 0
        self._pass: PassUnderWay | None = None
        self._ringing = RingingOn()
        self._pulse: Pulse | None = None
        self._rest_until_s = math.inf
        self._early_s = 0.0
        self._counted_in = False
        self._listening: Listening | HearingAgain | HearingTakes | None = None
        self._coming: Drill | None = None
        self._left: int | None = None
        self._gestures = Gestures(drill.gesture)
        self._out: list[Happening] = []
        #: What went wrong while notes were followed; should stay empty.
        self.faults: list[str] = []

    # takes and passes

    def _begin_take(self, start_s: float) -> TakeUnderWay:
        self._takes += 1
        drill = self._drill
        follower = self._make_follower(self._arrangement, drill.span, drill.hands)
        self._take = TakeUnderWay(self._takes, start_s, follower, self.faults, self._keeps_all)
        self._out.append(TakeBegan(self._takes, start_s, self._arrangement, drill, self._port))
        return self._take

    def _end_take(self) -> None:
        take, self._take = self._take, None
        self._rest_until_s = math.inf
        self._ringing.stop()
        if take is not None:
            take.finish()
            self._out.append(TakeEnded(take.number, take.notes, tuple(take.pedals), take.live))

    def _begin_pass(self, start_s: float) -> PassUnderWay:
        span_q = float(self._arrangement.bars[self._drill.span.from_bar].onset_q)
        s_per_q = 60.0 / self._arrangement.tempo_at(span_q).qpm / self._drill.rate
        pulse = self._pulse or Pulse("free")
        self._pass = PassUnderWay(self._arrangement, self._silences, pulse, start_s, s_per_q)
        self._pass.judged = self._take.judged if self._take else 0
        self._ringing.stop()
        held = self._take.held.values() if self._take else ()
        self._pass.pedals += [replace(move, time_s=start_s) for move in held if move.value]
        self._state = "playing"
        return self._pass

    def _end_pass(self, over_s: float) -> None:
        one, self._pass = self._pass, None
        if self._pulse is not None:
            self._pulse = None
            self._out.append(PulseEnded())
        if one is None or self._take is None:
            self._state = "waiting"
            return
        if len(one.notes) < min(LEAST_NOTES, self._silences.size):
            self._state = "waiting"
            return
        self._passes += 1
        self._state = "rest"
        ended = self._pass_ended(self._take, one)
        self._ringing.begin(ended)
        self._out.append(ended)
        if self._drill.passes and self._passes >= self._drill.passes:
            self._finish("ended")
        elif one.pulse.kind == "strict":
            self._rest_until_s = over_s + self._rest_s()
        self._take_up()

    def _rest_s(self) -> float:
        beats, drill = self._drill.rest_beats, self._drill
        if not beats:
            return REST_S
        return beats * count_in(self._arrangement, drill.span, drill.rate, 1).beat_s

    def _turn_round(self, take: TakeUnderWay, at_s: float) -> None:
        """Straight on: the next pass begins on the beat where this one ends.

        What is struck in the last half beat before it, or after half of the last written gap,
        belongs to the next. When nothing was played, that was the end.
        """
        pulse, one, drill = self._pulse, self._pass, self._drill
        if drill.rest_beats != 0 or pulse is None or one is None:
            return
        end_s = self._pulse_end_s()
        beat_s = count_in(self._arrangement, drill.span, drill.rate, 1).beat_s
        early_s = min(beat_s, self._last_gap_s()) / 2
        if at_s < end_s - early_s:
            return
        self._pulse = None  # the clicks go on: no end of the pulse is told
        self._end_pass(end_s - early_s)
        if self._state != "rest" or self._take is not take:
            self._out.append(PulseEnded())
            return
        self._rest_until_s = math.inf
        from_q, rate = pulse.start_q, self._drill.rate
        self._pulse, self._early_s = Pulse("strict", end_s, from_q, rate), early_s
        self._state, self._counted_in = "count-in", False
        start_s = take.start_s + end_s
        self._out.append(PulseBegan((), start_s, drill.span, drill.hands, rate))

    def _last_gap_s(self) -> float:
        """From the last written onset of the span to its end, at this tempo."""
        to_q = float(self._drill.span.quarters(self._arrangement)[1])
        last_s, end_s = self._arrangement.seconds_at([self._silences.last_q, to_q])
        return float(end_s - last_s) / self._drill.rate

    def _pass_ended(self, take: TakeUnderWay, one: PassUnderWay) -> PassEnded:
        drill, notes = self._drill, tuple(one.notes)
        return PassEnded(
            self._arrangement, take.number, self._passes, one.first, notes, tuple(one.pedals),
            drill.span, drill.hands, one.pulse, drill.number,
        )  # fmt: skip

    def _finish(self, state: State) -> None:
        """End pass and take, and go to a state."""
        if self._listening is not None:
            self._hush()
        if self._pass or self._pulse:
            at_s = self._take.last_s if self._take else 0.0
            self._end_pass(at_s)
        self._end_take()
        self._state = state

    # the strict pulse

    def _arm(self, now_s: float, after_s: float = ARM_S) -> None:
        """Count in, from a gesture at `now_s`."""
        take = self._take or self._begin_take(now_s)
        self._rest_until_s = math.inf
        drill, first_s = self._drill, now_s + after_s
        count = count_in(self._arrangement, drill.span, drill.rate, drill.lead_in_beats)
        start_s = first_s + count.length_s
        from_q = float(drill.span.quarters(self._arrangement)[0])
        self._pulse = Pulse("strict", start_s - take.start_s, from_q, drill.rate)
        self._early_s = count.beat_s / 2
        self._state, self._counted_in = "count-in", True
        moments = tuple(first_s + s for s in count.beats_s)
        self._out.append(PulseBegan(moments, start_s, drill.span, drill.hands, drill.rate))

    def _pulse_end_s(self) -> float:
        if self._pulse is None:
            return math.inf
        drill = self._drill
        return self._pulse.start_s + span_length_s(self._arrangement, drill.span, drill.rate)

    # changes

    def _change(self, drill: Drill) -> None:
        self._finish("waiting")
        self._passes = 0
        self._drill = drill
        self._gestures = Gestures(drill.gesture)
        self._silences = Silences(self._arrangement, drill.span, drill.hands)

    def _take_up(self, now_s: float | None = None) -> None:
        """Go over to the drill that was asked for meanwhile. Other bars are another take."""
        new, self._coming = self._coming, None
        if new is None or self._state == "ended":
            return
        old, again = self._drill, self._state == "rest"
        if (new.span, new.hands, new.pulse_kind) == (old.span, old.hands, old.pulse_kind):
            self._drill = new
            return
        passes = self._passes
        self._change(new)
        self._passes = passes
        if now_s is not None and again and new.pulse_kind == "strict":
            self._arm(now_s, self._rest_s())

    def _count_in_anew(self, now_s: float) -> None:
        """Take up what was asked for during a count-in, and count that in. It waits where the
        downbeat is upon the player, or the last pass runs straight on into it."""
        pulse, take = self._pulse, self._take
        if pulse is None or take is None or not self._counted_in:
            return
        if now_s - take.start_s >= pulse.start_s - self._early_s:
            return
        self._pulse, self._state = None, "waiting"
        self._out.append(PulseEnded())
        self._take_up()
        if self._drill.pulse_kind == "strict":
            self._arm(now_s)

    def _stop_pass(self) -> None:
        if self._take is not None and (self._pass or self._pulse):
            self._end_pass(self._take.last_s)

    def _hear_again(self, command: Command, start_s: float) -> None:
        """Have a pass of this session played as it was, to the last of what rang on."""
        record = self._ringing.complete(command.extra["pass"])
        self._listening = hear_again(self._arrangement, record, start_s)
        self._state = "listening"
        extra = {**command.extra, "pass": record, "start_s": start_s}
        self._out.append(Asked(replace(command, extra=extra)))

    def _hear_takes(self, command: Command, start_s: float) -> None:
        self._listening = HearingTakes(tuple(command.extra["takes"]), start_s)
        self._state = "listening"
        extra = {**command.extra, "events": self._listening.events()}
        self._out.append(Asked(replace(command, extra=extra)))

    def _hush(self) -> None:
        self._end_listening()
        self._out.append(Asked(Command("hush")))

    def _end_listening(self) -> None:
        self._listening = None
        if self._state == "listening":
            self._state = "waiting"
