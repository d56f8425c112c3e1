"""Judges passes on a thread of its own: the whole-take review, and whether the pass was good."""

from __future__ import annotations

import contextlib
import queue
import threading
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from engine.arrangement import notes_in
from engine.findings import Estimate
from engine.measure.instrument import Instrument
from engine.performance import Recording
from engine.result import rounded, to_json
from engine.review import PassReview, review_take
from engine.section_review import SectionReview, review_sections
from engine.standing import (
    DEFINITIONS,
    Definitions,
    PassFacts,
    good_pass,
    usual_evenness_ms,
)
from practice.listen.happenings import PassEnded
from practice.listen.spare_memory import give_back
from practice.store.kept import PassDetail


@dataclass(frozen=True, slots=True)
class Judged:
    """One pass as judged; a pass as played may turn out to be several, or none.

    Attributes:
        ended: as it was played. review: its numbers and times are the take's.
        facts: what it came to. tempo_share: of the marked tempo.
        good, why_not: by the definitions in force.
        sections: the same for each section that it touched.
    """

    ended: PassEnded
    review: PassReview
    facts: PassFacts
    tempo_share: float | None
    good: bool
    why_not: str
    sections: tuple[SectionReview, ...] = ()


class Even(NamedTuple):
    """How even a pass was: share of the marked tempo, ms, and what the figure was fingered by."""

    tempo_share: float
    evenness_ms: float
    fingering: str = ""


@dataclass(frozen=True, slots=True)
class JudgeFailed:
    """A pass that could not be judged, and why; its notes are kept all the same."""

    ended: PassEnded
    why: str


def judge_pass(
    ended: PassEnded,
    history: Sequence[Even] = (),
    instrument: Instrument | None = None,
    definitions: Definitions = DEFINITIONS,
) -> list[Judged]:
    """Review a pass from all its notes.

    Args:
        ended: the pass.
        history: earlier passes on the same instrument, oldest first.
        instrument: it as calibrated, if it was.
        definitions: what makes a pass good.
    """
    review = review_take(
        ended.arrangement,
        Recording(ended.notes, ended.pedals),
        span=ended.span,
        hands=ended.hands,
        pulse=ended.pulse,
        instrument=instrument,
    )
    return [_weigh(ended, one, history, definitions) for one in review.passes]


def _weigh(
    ended: PassEnded,
    one: PassReview,
    history: Sequence[Even],
    definitions: Definitions,
) -> Judged:
    share = value_of(one, "timing", "mark_share")

    def usual(key: str, hands: str, at: float, fingering: str) -> float | None:
        like = [(e.tempo_share, e.evenness_ms) for e in history if e.fingering == fingering]
        return usual_evenness_ms(like, at, definitions)

    usual_ms = usual("", one.hands, share, fingering_of(one)) if share else None
    facts = replace(gather_facts(ended, one), usual_ms=usual_ms)
    good, why_not = good_pass(facts, definitions)
    first = one.first + ended.first
    sections = review_sections(
        ended.arrangement,
        one,
        ended.span,
        usual,
        definitions,
    )
    return Judged(ended, replace(one, first=first), facts, share, good, why_not, tuple(sections))


def gather_facts(ended: PassEnded, one: PassReview) -> PassFacts:
    """What a pass came to, from its findings and measures."""
    counts = Counter(f.what for f in one.findings)
    tempo_qpm = one.played.tempo_qpm
    beat_q = 4.0 / ended.arrangement.bar_at(one.played.from_q).beat_unit
    return PassFacts(
        completed=_is_complete(ended, one),
        right=counts["right"],
        wrong=counts["wrong"],
        extra=counts["extra"],
        missing=counts["missing"],
        pulse=one.pulse.kind,
        beat_ms=beat_q * 60_000.0 / tempo_qpm if tempo_qpm > 0 else 0.0,
        deviation_ms=value_of(one, "timing", "median_deviation_ms"),
        halt_beats=_longest_halt(one),
        evenness_ms=value_of(one, "evenness", "sd_ms"),
    )


def value_of(one: PassReview, measure: str, name: str) -> float | None:
    """The value of an estimate among a pass's measures, None where there is none."""
    estimate = getattr(getattr(one.measures, measure, None), name, None)
    return estimate.value if isinstance(estimate, Estimate) else None


def fingering_of(one: PassReview) -> str:
    """What a pass's evenness is fingered by, "" where the page tells none."""
    return str(getattr(one.measures.evenness, "fingering", ""))


def detail_of(judged: Judged) -> PassDetail:
    """All that is said of a pass, ready to be kept."""
    one = judged.review
    return PassDetail(one.findings, one.slips, rounded(to_json(one.measures)), judged.sections)


def _longest_halt(one: PassReview) -> float | None:
    hesitations = getattr(getattr(one.measures, "timing", None), "hesitations", None)
    if hesitations is None:
        return None
    return max((h.beats for h in hesitations), default=0.0)


def _is_complete(ended: PassEnded, one: PassReview) -> bool:
    """From the first written moment of the span to the last, give or take a beat."""
    arrangement = ended.arrangement
    rows = notes_in(arrangement, ended.span, one.hands)
    onset_q = arrangement.table["onset_q"][rows[arrangement.table["optional"][rows] == 0]]
    if not len(onset_q):
        return False
    beat_q = 4.0 / arrangement.bar_at(float(onset_q[0])).beat_unit
    begins = one.played.from_q <= float(onset_q.min()) + beat_q
    return bool(begins and one.played.to_q >= float(onset_q.max()) - beat_q)


#: Passes, oldest first, by the instrument's name.
History = Mapping[str, Sequence[Even]]


@dataclass(frozen=True, slots=True)
class _Waiting:
    """A pass to be judged, and what it was played on."""

    ended: PassEnded
    played_on: str
    instrument: Instrument | None


class Judge:
    """Takes ended passes and delivers what they came to, in order, never on the caller's thread.

    Args:
        deliver: takes each verdict, on the judge's thread.
        history: see `judge_pass`, by the name of the instrument; grows with the passes judged.
        definitions: what makes a pass good.
    """

    def __init__(
        self,
        deliver: Callable[[Judged | JudgeFailed], None],
        history: History | None = None,
        definitions: Definitions = DEFINITIONS,
    ) -> None:
        self._deliver, self._definitions = deliver, definitions
        self._history = {name: list(passes) for name, passes in (history or {}).items()}
        self._queue: queue.SimpleQueue[_Waiting | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="judge", daemon=True)
        self._thread.start()

    def submit(
        self, ended: PassEnded, played_on: str = "", instrument: Instrument | None = None
    ) -> None:
        """Have a pass judged that was played on the instrument of that name."""
        self._queue.put(_Waiting(ended, played_on, instrument))

    def stop(self) -> None:
        """Judge what still waits, then end."""
        self._queue.put(None)
        self._thread.join()

    def _run(self) -> None:
        while (waiting := self._queue.get()) is not None:
            history = self._history.setdefault(waiting.played_on, [])
            try:
                judged = judge_pass(waiting.ended, history, waiting.instrument, self._definitions)
                for one in judged:
                    _remember(one, history)
                    self._deliver(one)
                if not judged:
                    self._deliver(JudgeFailed(waiting.ended, "nothing of the page is in it"))
            except Exception as error:
                self._say_failed(waiting.ended, error)
            give_back()

    def _say_failed(self, ended: PassEnded, error: Exception) -> None:
        # A listener that cannot take even this must not end the judging of later passes.
        with contextlib.suppress(Exception):
            self._deliver(JudgeFailed(ended, f"{type(error).__name__}: {error}"))


def _remember(one: Judged, history: list[Even]) -> None:
    if one.tempo_share and one.facts.evenness_ms is not None:
        history.append(Even(one.tempo_share, one.facts.evenness_ms, fingering_of(one.review)))
