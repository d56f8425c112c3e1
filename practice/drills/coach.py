"""The coach: takes in how each pass went and says what is next, as drills for the session."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import datetime
from typing import Any

from engine.arrangement import Arrangement, Hands, Span, notes_in
from engine.drill import DrillSheet, NextPass, PassResult, next_pass
from practice.drill import Drill, name_span
from practice.snapshot import Command, PassRecord

#: So many passes in a row that cannot be judged end the drill.
ENOUGH_UNJUDGED = 3
#: A hand with fewer notes than this in a place cannot be judged there, and is left out.
LEAST_NOTES = 3


class Coach:
    """Runs one drill. May be called from several threads.

    Args:
        sheet: the drill. arrangement: what is played from. places: found in it, at least one.
        number: which drill of the sitting this is.
    """

    def __init__(
        self, sheet: DrillSheet, arrangement: Arrangement, places: Sequence[Span], number: int = 0
    ) -> None:
        hands = [h for h in sheet.hands if _can_play(arrangement, places, h)]
        self._sheet = replace(sheet, hands=tuple(hands) or sheet.hands)
        self._arrangement = arrangement
        self._places = list(places)
        self._number = number
        self._history: list[PassResult] = []
        self._unjudged = 0
        self._lock = threading.Lock()
        self._asked = self._find_next()
        #: What was asked and how it went, pass by pass, ready for JSON.
        self.log: list[dict[str, Any]] = []

    @property
    def drill(self) -> Drill:
        """What is asked for now."""
        one, sheet = self._asked, self._sheet
        span = Span(one.span.from_bar, one.play_to_bar) if one.span else self._places[-1]
        return Drill(
            span,
            one.hands,
            sheet.pulse,
            one.rate if sheet.pulse == "strict" else 1.0,
            sheet.passes,
            rest_beats=sheet.rest_beats,
            gesture=sheet.gesture,
            from_memory=sheet.from_memory,
            run_through=sheet.run_through,
            reason=one.reason,
            other_hand=sheet.other_hand,
            click_parts=sheet.click_parts if sheet.click_parts > 1 else 0,
            number=self._number,
        )

    @property
    def is_over(self) -> bool:
        """Nothing more is asked for."""
        return self._asked.span is None

    def judged(self, record: PassRecord) -> Command:
        """A pass was judged; the word for the session.

        It counts at the tempo and with the hand it was played: a pass may have begun before the
        last word was heard.
        """
        length_s = record.notes[-1].onset_s - record.notes[0].onset_s if record.notes else 0.0
        started_s = datetime.fromisoformat(record.started).timestamp()
        with self._lock:
            asked = self._asked
            is_asked = record.span == self.drill.span and asked.span is not None
            span = asked.span if is_asked and asked.span else record.span
            hands = asked.hands if is_asked else record.hands
            strict = record.pulse.kind == "strict"
            rate = record.pulse.rate if strict else asked.rate
            self._take_in(
                PassResult(
                    span, hands, rate, record.good, record.why_not, started_s, length_s, asked.rest
                )
            )
            if record.place and self._asked.span is None:
                self._asked = replace(self._asked, reason=record.place)
            return self._command()

    def unjudged(self, why: str) -> Command:
        """A pass could not be judged: it counts for nothing and is asked for again. A run-through
        is not played twice for that, and a drill in which nothing can be judged ends."""
        with self._lock:
            self._unjudged += 1
            self.log.append({"pass": None, "unjudged": why})
            if self._asked.span is not None:
                over = self._sheet.run_through or self._unjudged >= ENOUGH_UNJUDGED
                then = "it is kept" if over else "it is kept, and does not count: once more"
                reason = f"the pass could not be judged ({why}); {then}"
                span = None if over else self._asked.span
                self._asked = replace(self._asked, span=span, reason=reason)
            return self._command()

    def take_in(self, good: bool, why_not: str, start_s: float, seconds: float) -> Command:
        """A pass of just what was asked for is over."""
        with self._lock:
            one = self._asked
            if one.span is not None:
                self._take_in(
                    PassResult(
                        one.span, one.hands, one.rate, good, why_not, start_s, seconds, one.rest
                    )
                )
            return self._command()

    def _take_in(self, result: PassResult) -> None:
        self._history.append(result)
        self._unjudged = 0
        self._write_down(self._asked, result)
        self._asked = self._find_next()

    def skip(self) -> Command:
        """On to the next place, whatever this one has come to. The last one left is kept."""
        with self._lock:
            span = self._asked.span
            here = next((p for p in self._places if span and p.to_bar == span.to_bar), None)
            if here is not None and len(self._places) > 1:
                self._places.remove(here)
                self._asked = self._find_next()
            return self._command()

    def _find_next(self) -> NextPass:
        last_bar = len(self._arrangement.bars) - 1
        return next_pass(self._sheet, self._places, last_bar, self._history)

    def _command(self) -> Command:
        return Command("drill", extra={"drill": self.drill, "over": self.is_over})

    def _write_down(self, asked: NextPass, result: PassResult) -> None:
        row = asdict(result)
        span = name_span(self._arrangement, result.span)
        row["span"] = span.replace("–", "-")  # as it can be typed
        row["rate"] = round(result.rate, 4)
        row["reason"] = asked.reason
        self.log.append({"pass": len(self._history), **row})


def _can_play(arrangement: Arrangement, places: Sequence[Span], hands: Hands) -> bool:
    return all(len(notes_in(arrangement, place, hands)) >= LEAST_NOTES for place in places)
