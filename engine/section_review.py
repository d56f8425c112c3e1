"""A pass told section by section: what each section it went through came to.

Sections are known by their content, not by their place: `section_key` is the same for a section
that comes again, and for one that an edit of the score left as it was.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from engine.arrangement import Arrangement, Hands, Section, Span, whole_span
from engine.findings import Estimate
from engine.measure.evenness import Evenness, measure_evenness
from engine.measure.heard import Heard, hear
from engine.measure.tempo import Moments, follow_tempo
from engine.measure.timing import Timing, measure_timing
from engine.review import PassReview
from engine.standing import DEFINITIONS, Definitions, PassFacts, good_pass

#: The player's usual evenness for (section key, hands, share of the marked tempo, fingering), None
#: unknown.
Usual = Callable[[str, Hands, float, str], float | None]


@dataclass(frozen=True, slots=True)
class SectionReview:
    """One pass's part in one section.

    Attributes:
        key: what the section holds (see `section_key`). hands: as played.
        asked: all of the section was to be played.
        facts, good, why_not: see `engine.standing`.
        tempo_share: of the marked tempo, None where it cannot be told.
        timing_ms: median absolute deviation. evenness_ms: spread of the figure.
        fingering: that the evenness is of, "" where the page tells none.
        step_ms: the figure's note interval, None where there is no figure.
        places: mean deviation in ms of each place of the cell.
        slips: count of each kind. seconds: how long it took.
    """

    key: str
    hands: Hands
    asked: bool
    facts: PassFacts
    good: bool
    why_not: str
    tempo_share: float | None
    timing_ms: Estimate
    evenness_ms: Estimate
    step_ms: float | None
    seconds: float
    places: tuple[Estimate, ...] = ()
    slips: Mapping[str, int] = field(default_factory=dict)
    fingering: str = ""


def section_span(section: Section) -> Span:
    """The bars of a section."""
    return Span(section.from_bar, section.to_bar - 1)


def section_key(arrangement: Arrangement, section: Section) -> str:
    """Sixteen hex digits of what the bars hold: lengths, and every note but its id and finger."""
    return _digest([bar_key(arrangement, k) for k in range(section.from_bar, section.to_bar)])


def bar_key(arrangement: Arrangement, bar: int) -> str:
    """The same for one bar."""
    there = arrangement.bars[bar]
    rows = [f"{there.duration_q}"]
    for n in np.flatnonzero(arrangement.table["bar"] == bar).tolist():
        note = arrangement.notes[n]
        start_q = note.onset_q - there.onset_q
        rows.append(f"{start_q} {note.duration_q} {note.name} {note.hand} {note.grace}")
    return _digest(rows)


def _digest(rows: list[str]) -> str:
    return hashlib.sha256("\n".join(rows).encode()).hexdigest()[:16]


def review_sections(
    arrangement: Arrangement,
    one: PassReview,
    asked: Span | None = None,
    usual: Usual = lambda key, hands, share, fingering: None,
    definitions: Definitions = DEFINITIONS,
) -> list[SectionReview]:
    """What a pass came to in each section that it touched, in order of the form.

    Args:
        one: the pass. asked: the bars chosen, or None for those it touched.
        usual: the player's usual evenness, where it is known.
    """
    wanted = asked or one.span
    out = []
    for section in arrangement.form.sections:
        span = section_span(section)
        if span.to_bar < one.span.from_bar or span.from_bar > one.span.to_bar:
            continue
        whole = _was_meant(arrangement, one, wanted, span)
        part = _review_part(arrangement, one, section, whole, usual, definitions)
        if part is not None:
            out.append(part)
    return out


def _was_meant(arrangement: Arrangement, one: PassReview, wanted: Span, span: Span) -> bool:
    """Whether all of a section was to be played: it was chosen, and begun at its beginning.

    Where nothing narrower than the whole was chosen, a player who breaks off in the first half of
    a section only tried it.
    """
    if not (wanted.from_bar <= span.from_bar and span.to_bar <= wanted.to_bar):
        return False
    if one.span.from_bar > span.from_bar:
        return False
    half = span.from_bar + (span.to_bar - span.from_bar) // 2
    return wanted != whole_span(arrangement) or one.span.to_bar >= half


def _review_part(
    arrangement: Arrangement,
    one: PassReview,
    section: Section,
    asked: bool,
    usual: Usual,
    definitions: Definitions,
) -> SectionReview | None:
    span = section_span(section)
    heard = hear(arrangement, one.notes, one.findings, span, one.hands)
    if not len(heard.score):
        return None
    moments = follow_tempo(heard)
    timing = measure_timing(heard, moments, one.pulse)
    evenness = measure_evenness(heard, moments)
    share = _value(timing.mark_share) if isinstance(timing, Timing) else None
    key = section_key(arrangement, section)
    slips = _slips_in(arrangement, one, span)
    facts = _facts(heard, moments, timing, evenness, one, definitions)
    fingering = evenness.fingering if isinstance(evenness, Evenness) else ""
    if share and facts.evenness_ms is not None:
        facts = replace(facts, usual_ms=usual(key, one.hands, share, fingering))
    good, why_not = good_pass(facts, definitions)
    return SectionReview(
        key, one.hands, asked, facts, good, why_not, share,
        timing.median_deviation_ms if isinstance(timing, Timing) else timing,
        evenness.sd_ms if isinstance(evenness, Evenness) else evenness,
        evenness.note_interval_ms if isinstance(evenness, Evenness) else None,
        float(np.ptp(heard.onset_s)),
        tuple(p.deviation_ms for p in evenness.places) if isinstance(evenness, Evenness) else (),
        dict(Counter(slips)),
        fingering,
    )  # fmt: skip


def _facts(
    heard: Heard, moments: Moments, timing: Timing | Estimate, evenness: Evenness | Estimate,
    one: PassReview, definitions: Definitions,
) -> PassFacts:  # fmt: skip
    right = len(set(heard.score[heard.right].tolist()))
    wrong = int(np.count_nonzero(~heard.right))
    missing = _count_missing(heard, one)
    return PassFacts(
        completed=_came_through(heard, one, definitions),
        right=right,
        wrong=wrong,
        extra=_count_extra(heard, one),
        missing=missing,
        pulse=one.pulse.kind,
        beat_ms=_beat_ms(heard, moments),
        deviation_ms=_value(timing.median_deviation_ms) if isinstance(timing, Timing) else None,
        halt_beats=_longest_halt(timing) if isinstance(timing, Timing) else None,
        evenness_ms=_value(evenness.sd_ms) if isinstance(evenness, Evenness) else None,
    )


def _count_missing(heard: Heard, one: PassReview) -> int:
    """Notes asked for, between the pass's first and last, that nothing answers to.

    A bar jumped over counts, whether or not each of its notes was called missing.
    """
    onset_q = heard.arrangement.table["onset_q"][heard.expected]
    passed = heard.expected[(onset_q >= one.played.from_q) & (onset_q <= one.played.to_q)]
    return len(set(passed.tolist()) - set(heard.score.tolist()))


def _came_through(heard: Heard, one: PassReview, definitions: Definitions) -> bool:
    """From the section's first onset to its last, with no stop that the page does not explain."""
    onset_q = heard.arrangement.table["onset_q"][heard.expected]
    if one.played.from_q > onset_q.min() or one.played.to_q < onset_q.max():
        return False
    rate = heard.arrangement.tempo_at(one.played.from_q).qpm / (one.played.tempo_qpm or np.nan)
    slower = rate if np.isfinite(rate) else 1.0
    marked_s = heard.arrangement.table["onset_s"][heard.score]
    unexplained_s = np.diff(heard.onset_s) - np.maximum(np.diff(marked_s), 0.0) * slower
    allowed_s = max(definitions.stop_s, definitions.stop_beats * _marked_beat_s(heard) * slower)
    return bool(np.all(unexplained_s <= allowed_s))


def _marked_beat_s(heard: Heard) -> float:
    bar = heard.arrangement.bars[heard.span.from_bar]
    return 4 / bar.beat_unit * 60 / heard.arrangement.tempo_at(bar.onset_q).qpm


def _beat_ms(heard: Heard, moments: Moments) -> float:
    rates = moments.rate[np.isfinite(moments.rate)]
    return _marked_beat_s(heard) * 1000 * (float(np.median(rates)) if rates.size else 1.0)


def _count_extra(heard: Heard, one: PassReview) -> int:
    """Added notes while the section was being played; ornaments and unclear ones are none."""
    if not len(heard.onset_s):
        return 0
    from_s, to_s = heard.onset_s.min(), heard.onset_s.max()
    added = [f for f in one.findings if f.what == "extra" and f.played is not None]
    return sum(
        bool(from_s <= one.notes[f.played].onset_s <= to_s) for f in added if f.played is not None
    )


def _longest_halt(timing: Timing) -> float:
    return max((h.beats for h in timing.hesitations), default=0.0)


def _slips_in(arrangement: Arrangement, one: PassReview, span: Span) -> list[str]:
    """Kinds of the slips whose place is in the span: their own note, or the last one before."""
    bars: dict[int, int] = {}
    bar = -1
    for f in one.findings:
        told = f.score if f.score is not None else f.stands_for
        bar = int(arrangement.table["bar"][told]) if told is not None else bar
        if f.played is not None:
            bars[f.played] = bar
    out = []
    for slip in one.slips:
        if slip.score is not None:
            at = int(arrangement.table["bar"][slip.score])
        else:
            at = bars.get(slip.played if slip.played is not None else -1, -1)
        if span.from_bar <= at <= span.to_bar:
            out.append(slip.kind)
    return out


def _value(estimate: Estimate) -> float | None:
    return estimate.value
