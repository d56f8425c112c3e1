"""A history of practising made for tests: passes with chosen results, no playing behind them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from engine.arrangement import Arrangement, Hands, Section
from engine.findings import Estimate, no_estimate
from engine.performance import Pulse
from engine.section_review import SectionReview, section_key, section_span
from engine.standing import PassFacts, good_pass
from practice.store.kept import KeptPass, PassDetail, TakeStart
from practice.store.store import Store

FIRST_EVENING = datetime(2026, 1, 5, 18, 0, tzinfo=UTC)


def evening(day: int, minute: float = 0.0) -> datetime:
    """A moment on the n-th evening."""
    return FIRST_EVENING + timedelta(days=day, minutes=minute)


def part_of(
    arrangement: Arrangement, section: Section, *, right: int = 100, off: int = 0,
    tempo: float = 1.0, evenness_ms: float | None = 12.0, hands: Hands = "both",
    slips: dict[str, int] | None = None, asked: bool = True,
) -> SectionReview:  # fmt: skip
    """What a pass came to in a section."""
    facts = PassFacts(completed=True, right=right, wrong=off, evenness_ms=evenness_ms)
    good, why_not = good_pass(facts)
    even = (
        no_estimate("no figure", "ms")
        if evenness_ms is None
        else Estimate(evenness_ms, evenness_ms - 1, evenness_ms + 1, 64, "ms")
    )
    places = () if evenness_ms is None else tuple(
        Estimate(float(k), k - 1.0, k + 1.0, 8, "ms") for k in range(8)
    )  # fmt: skip
    return SectionReview(
        section_key(arrangement, section), hands, asked, facts, good, why_not, tempo,
        Estimate(9.0, 8.0, 10.0, 60, "ms"), even, 208.0, 14.0, places,
        slips if slips is not None else ({"neighbour key": off} if off else {}),
    )  # fmt: skip


def keep_pass(
    store: Store, arrangement: Arrangement, when: datetime, parts: Iterable[SectionReview],
    instrument: str = "piano",
) -> int:  # fmt: skip
    """A take of one pass with these parts; its number."""
    parts = tuple(parts)
    span = section_span(arrangement.form.sections[0])
    start = TakeStart(
        arrangement.content_hash, arrangement.title, "", instrument, "played", when, span, None,
        "free", 1.0,
    )  # fmt: skip
    take = store.begin_take(start)
    good = all(part.good for part in parts)
    kept = KeptPass(
        take, 1, when, when.date().isoformat(), 0, 99, span, 0.0, 8.0, parts[0].hands, Pulse(),
        72.0, True, 100, 0, 0, 0, 9.0, 12.0, good, "" if good else "a slip",
    )  # fmt: skip
    store.add_pass(kept, PassDetail(sections=parts))
    return take
