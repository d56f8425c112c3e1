"""The page, or kept takes, played to a player who only listens: what the window needs to follow.

No keyboard, no thread, no store: words go to the partner, the place comes from the clock.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from engine.arrangement import Arrangement, Hands, Span
from practice.clock import Clock
from practice.drill import SLOWEST_RATE, carry_span, name_span
from practice.listen.happenings import Asked, Happening
from practice.listen.kept_hearing import HearingTakes, KeptHearing
from practice.listen.listening import BREATH_S, Listening
from practice.snapshot import Command, Snapshot

_HANDS: dict[Hands, str] = {"both": "both hands", "left": "left hand", "right": "right hand"}

_SAVED_ANEW = "the page was saved anew meanwhile and cannot follow, choose the take again"


@dataclass(frozen=True, slots=True)
class PageHeard:
    """What of the page is heard: as `practice.sound.page.PageChoice`; `only`: indices of the
    part's notes, None for all."""

    span: Span
    hands: Hands = "both"
    rate: float = 1.0
    part: str = "all"
    pedal: bool = True
    only: frozenset[int] | None = None


class Hearing:
    """Shows what sounds and obeys the window's keys. To be used from one thread.

    Args:
        arrangement: the page. heard: what of it.
        takes: kept takes to be heard instead; none: the page itself.
        clock: the stamping clock. notice: puts a word into the partner's queue.
        problem: why nothing sounds, "" where it does. times: how often.
    """

    def __init__(
        self, arrangement: Arrangement, heard: PageHeard, takes: Sequence[KeptHearing],
        clock: Clock, notice: Callable[[Happening], None],
        problem: Callable[[], str] = lambda: "", times: int = 1,
    ) -> None:  # fmt: skip
        self._arrangement, self._heard, self._takes = arrangement, heard, tuple(takes)
        self._clock, self._notice, self._problem = clock, notice, problem
        self._times = self._left = times
        self._listening: Listening | HearingTakes | None = None
        self._version = 0
        self._snapshot = self._compose(clock.now_s())

    def tell(self, command: Command) -> None:
        """The player asked for something."""
        act = getattr(self, f"_do_{command.kind}", None)
        if act is not None:
            act(command, self._clock.now_s())

    def snapshot(self) -> Snapshot:
        """The picture now; the same one while nothing has changed."""
        now_s = self._clock.now_s()
        if self._listening is not None and now_s >= self._listening.end_s:
            self._go_round(now_s)
        new = self._compose(now_s)
        if replace(new, version=self._snapshot.version) != self._snapshot:
            self._version += 1
            self._snapshot = replace(new, version=self._version)
        return self._snapshot

    @property
    def sounds(self) -> bool:
        """Something is being played."""
        return self._listening is not None

    def _go_round(self, now_s: float) -> None:
        self._left -= 1
        self._listening = None
        if self._left > 0:
            self._begin(now_s + BREATH_S)

    def _begin(self, start_s: float) -> None:
        """From the first message at `start_s`; a moment past goes on from where it would be."""
        if self._takes:
            self._listening = HearingTakes(self._takes, start_s)
            self._ask(events=self._listening.events())
            return
        one = self._heard
        only = None if one.only is None else np.array(sorted(one.only), dtype=np.intp)
        self._listening = Listening(self._arrangement, one.span, one.hands, one.rate, start_s, only)
        self._ask(
            one.span, one.hands, one.rate, start_s=start_s, arrangement=self._arrangement,
            part=one.part, pedal=one.pedal,
        )  # fmt: skip

    def _ask(
        self, span: Span | None = None, hands: Hands | None = None, rate: float | None = None,
        **extra: Any,
    ) -> None:  # fmt: skip
        self._notice(Asked(Command("listen", span=span, hands=hands, rate=rate, extra=extra)))

    def _do_again(self, _command: Command, now_s: float) -> None:
        self._left = self._times
        self._begin(now_s + BREATH_S)

    def _do_listen(self, command: Command, now_s: float) -> None:
        """As it was, or takes that were chosen meanwhile."""
        self._takes = command.extra.get("takes", self._takes)
        self._do_again(command, now_s)

    def _do_stop(self, _command: Command | None, _now_s: float) -> None:
        self._listening = None
        self._notice(Asked(Command("hush")))

    _do_hush = _do_quit = _do_stop

    def _do_rate(self, command: Command, now_s: float) -> None:
        if command.rate:
            self._change(replace(self._heard, rate=max(command.rate, SLOWEST_RATE)), now_s)

    def _do_hands(self, command: Command, now_s: float) -> None:
        if command.hands:
            self._change(replace(self._heard, hands=command.hands), now_s)

    def _do_span(self, command: Command, now_s: float) -> None:
        if command.span is not None and not self._takes:
            self._heard = replace(self._heard, span=command.span)
            if self.sounds:
                self._do_again(command, now_s)

    def _do_arrangement(self, command: Command, _now_s: float) -> None:
        """The score was saved anew. Where takes are on it has to be read again."""
        none = np.zeros(0)
        self._takes = tuple(
            replace(take, moments_s=none, places_q=none, note=_SAVED_ANEW) for take in self._takes
        )
        new: Arrangement = command.extra["arrangement"]
        self._do_stop(None, 0.0)
        span = carry_span(self._arrangement, new, self._heard.span)
        self._heard = replace(self._heard, span=span, only=None)
        self._arrangement = new

    def _change(self, heard: PageHeard, now_s: float) -> None:
        """Another tempo or hand: the music goes on from where it is. Takes stay as played."""
        before, listening = self._heard, self._listening
        if self._takes or heard == before:
            return
        self._heard = heard
        if listening is not None:
            into_s = now_s - listening.start_s
            if into_s > 0:
                into_s *= before.rate / heard.rate
            self._begin(now_s - into_s)

    def _compose(self, now_s: float) -> Snapshot:
        one, listening = self._heard, self._listening
        place_q = listening.place_q(now_s) if listening else None
        return Snapshot(
            version=self._version, arrangement=self._arrangement, span=one.span, hands=one.hands,
            pulse_kind="free" if self._takes else "strict", rate=one.rate,
            state="listening" if listening else "waiting", state_text=self._say(now_s),
            heard=self._say(now_s), only_heard=True,
            place_q=place_q, message=self._problem() or self._unfollowed(now_s),
        )  # fmt: skip

    def _unfollowed(self, now_s: float) -> str:
        takes = self._listening
        return takes.note(now_s) if isinstance(takes, HearingTakes) else ""

    def _say(self, now_s: float) -> str:
        if isinstance(self._listening, HearingTakes):
            return f"Playing to you: {self._listening.name(now_s)}"
        if self._takes:
            return f"{' and '.join(take.name for take in self._takes)}: space to hear again"
        part = "" if self._heard.part == "all" else f", the {self._heard.part} alone"
        what = f"{name_span(self._arrangement, self._heard.span)}{part}"
        hands = _HANDS[self._heard.hands]
        return f"Playing to you: {what}, {hands}" if self.sounds else f"{what}: space to hear again"
