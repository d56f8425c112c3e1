"""A whole recording reviewed: which note was which, cut into passes, each pass measured.

Inside this room, as everywhere in the engine, `notes[i].index == i`; a pass is given its own
numbering from 0, and `PassReview.first` is what to add to come back to the recording's.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from engine.arrangement import Arrangement, Hands, Span, whole_span
from engine.findings import Finding, Pass, Slip
from engine.follow import Follower, align
from engine.measure import Measures, deviations_ms, measure
from engine.measure.instrument import Instrument
from engine.performance import PedalMove, PlayedNote, Pulse, Recording
from engine.recognition import recognised
from engine.slips import name_slips


@dataclass(frozen=True, slots=True)
class PassReview:
    """One pass with all that is said of it.

    Attributes:
        played: where it went, in the recording's note numbers.
        first: what to add to this pass's note numbers to get the recording's.
        span: the bars it touched. hands, pulse: as judged.
        notes, pedals: of this pass, numbered from 0; times as in the recording.
        findings: one for each note, then one for each note left out.
        deviations_ms: one for each note, nan where there is none.
        slips: named. measures: see `engine.measure`.
        live: what stood while it was played, one for each note, where it was followed live.
        instrument: the keyboard as calibrated, None where it was not or is not known.
    """

    played: Pass
    first: int
    span: Span
    hands: Hands
    pulse: Pulse
    notes: tuple[PlayedNote, ...]
    pedals: tuple[PedalMove, ...]
    findings: tuple[Finding, ...]
    deviations_ms: tuple[float, ...]
    slips: tuple[Slip, ...]
    measures: Measures
    live: tuple[Finding, ...] = ()
    instrument: Instrument | None = None


@dataclass(frozen=True, slots=True)
class Review:
    """Everything said of a recording; `findings` are in the recording's own numbers."""

    recording: Recording
    findings: tuple[Finding, ...]
    passes: tuple[PassReview, ...]


def review_take(
    arrangement: Arrangement,
    recording: Recording,
    *,
    span: Span | None = None,
    hands: Hands | None = None,
    pulse: Pulse | None = None,
    live: bool = False,
    instrument: Instrument | None = None,
) -> Review:
    """Review a recording. What cannot be followed surely belongs to no pass: see `recognition`.

    Args:
        arrangement: the score.
        recording: notes numbered from 0 in order, and pedal moves.
        span: the bars chosen, or all of them.
        hands: which hand(s) play, or None to find out.
        pulse: how time is judged; free where not given.
        live: judge each note as it would have been while listening, not from the whole.
        instrument: the keyboard as calibrated, if it was.
    """
    notes = recording.notes
    if live:
        findings = follow_through(arrangement, notes, span, hands)
    else:
        findings = tuple(align(arrangement, notes, span, hands))
    passes = recognised(arrangement, notes, findings, span, hands)
    return Review(
        recording,
        findings,
        tuple(
            review_pass(arrangement, recording, findings, one, hands, pulse or Pulse(), instrument)
            for one in passes
        ),
    )


def follow_through(
    arrangement: Arrangement,
    notes: Sequence[PlayedNote],
    span: Span | None = None,
    hands: Hands | None = None,
) -> tuple[Finding, ...]:
    """The live follower's standing findings, as if the notes came one by one."""
    follower = Follower(arrangement, span, hands)
    said: list[Finding] = []
    for note in notes:
        said.extend(follower.hear(note))
    said.extend(follower.finish())
    return standing(said)


def standing(said: Iterable[Finding]) -> tuple[Finding, ...]:
    """The newest finding for each played note, in order; then those for notes left out."""
    played: dict[int, Finding] = {}
    missing: dict[int, Finding] = {}
    for finding in said:
        if finding.played is not None:
            played[finding.played] = finding
        elif finding.score is not None:
            missing[finding.score] = finding
    told = {f.score for f in played.values()} | {f.stands_for for f in played.values()}
    left_out = [missing[i] for i in sorted(missing) if i not in told]
    return (*(played[i] for i in sorted(played)), *left_out)


def review_pass(
    arrangement: Arrangement,
    recording: Recording,
    findings: Sequence[Finding],
    played: Pass,
    hands: Hands | None,
    pulse: Pulse,
    instrument: Instrument | None = None,
) -> PassReview:
    """Everything said of one pass, in its own note numbers."""
    first = played.first
    heard = recording.notes[first : played.last + 1]
    notes = tuple(replace(n, index=n.index - first) for n in heard) if first else heard
    mine = _findings_of(arrangement, findings, played)
    whose: Hands = hands or played.hands
    span = _span_of(arrangement, played)
    pedals = _pedals_of(recording.pedals, notes)
    return PassReview(
        played,
        first,
        span,
        whose,
        pulse,
        notes,
        pedals,
        mine,
        tuple(np.asarray(deviations_ms(arrangement, notes, mine, pulse)).tolist()),
        tuple(name_slips(arrangement, notes, mine)),
        measure(
            arrangement,
            notes,
            pedals,
            mine,
            span=span,
            hands=whose,
            pulse=pulse,
            instrument=instrument,
        ),
        instrument=instrument,
    )


def _findings_of(
    arrangement: Arrangement, findings: Sequence[Finding], played: Pass
) -> tuple[Finding, ...]:
    mine = [
        replace(f, played=f.played - played.first)
        for f in findings
        if f.played is not None and played.first <= f.played <= played.last
    ]
    told = {f.score for f in mine} | {f.stands_for for f in mine}
    onset_q = arrangement.table["onset_q"]
    left_out = [
        f
        for f in findings
        if f.played is None
        and f.score is not None
        and f.score not in told
        and played.from_q <= onset_q[f.score] <= played.to_q
    ]
    return (*mine, *{f.score: f for f in left_out}.values())


def _span_of(arrangement: Arrangement, played: Pass) -> Span:
    if not arrangement.bars:
        return whole_span(arrangement)
    return Span(arrangement.bar_at(played.from_q).index, arrangement.bar_at(played.to_q).index)


def _pedals_of(pedals: Sequence[PedalMove], notes: Sequence[PlayedNote]) -> tuple[PedalMove, ...]:
    """Moves during the pass, with the last state before it moved to its start."""
    if not notes:
        return ()
    start_s = notes[0].onset_s
    ends = [n.release_s for n in notes if n.release_s == n.release_s]
    end_s = max([notes[-1].onset_s, *ends])
    before: dict[int, PedalMove] = {}
    for move in pedals:
        if move.time_s < start_s:
            before[move.controller] = move
    held = [replace(m, time_s=start_s) for m in before.values() if m.value > 0]
    return (*held, *(m for m in pedals if start_s <= m.time_s <= end_s))
