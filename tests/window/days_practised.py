"""Three weeks of practising made up for the progress sheet: getting better, with a claim or two."""

from __future__ import annotations

import math
from datetime import date, timedelta

from engine.arrangement import Arrangement, Hands
from engine.findings import Estimate
from engine.standing import Retention, Stage, Standing
from practice.progress.changes import find_candidates, judge_candidates
from practice.progress.progress import HANDS, HandProgress, Progress, SectionProgress
from practice.store.history import Day, Sums, Totals
from practice.store.section_store import Edit

FIRST = date(2031, 2, 8)
STAGES: tuple[Stage, ...] = ("secure", "up to tempo", "steady", "reading")


def days_of(key: str, hands: Hands, count: int, seed: int) -> tuple[Day, ...]:
    """So many days, the share of right notes rising and the unevenness falling."""
    out = []
    for k in range(count):
        wave = 0.01 * math.sin(1.7 * k + seed)
        even = 22.0 - 0.7 * k + 40 * wave
        out.append(
            Day(
                key, hands, (FIRST + timedelta(days=k)).isoformat(), 3, 2, 1,
                min(1.0, 0.90 + 0.005 * k + wave), 240.0, 0.6 + 0.02 * k,
                Estimate(12.0, 10.0, 14.0, 90, "ms"), Estimate(even, even - 2, even + 2, 3, "ms"),
            )
        )  # fmt: skip
    return tuple(out)


def practised(key: str, hands: Hands, index: int, count: int) -> HandProgress:
    """One section and hand after so many days."""
    days = days_of(key, hands, count, index)
    stage = STAGES[(index + HANDS.index(hands)) % len(STAGES)]
    standing = Standing(
        index, hands, stage, "two of the last three passes good, at half the tempo or more",
        days[-1].day, 3 * count, 2 * count,
    )  # fmt: skip
    kept = (Retention(days[-1].day, days[-2].day, 1, 0.96, 0.95, 0.98),)
    claims = tuple(judge_candidates(find_candidates(days), 6))
    return HandProgress(hands, standing, days, 0.9, kept, Sums(count, 3 * count, 2 * count), claims)


def made_up_progress(arrangement: Arrangement) -> Progress:
    """The first sections by every hand, one by a hand alone, the rest unplayed."""
    sections = []
    for index, section in enumerate(arrangement.form.sections[:6]):
        played: tuple[Hands, ...] = HANDS if index < 2 else HANDS[1:2] if index == 2 else ()
        hands = tuple(practised(f"s{index}", one, index, 21 - 4 * index) for one in played)
        first, last = arrangement.bars[section.from_bar], arrangement.bars[section.to_bar - 1]
        sections.append(
            SectionProgress(
                index, section.name, f"s{index}", first.number, last.number,
                section.to_bar - section.from_bar, (index + 5,) if index == 1 else (), hands,
            )
        )  # fmt: skip
    return Progress(
        arrangement.title, arrangement.content_hash,
        Totals(21, 240, 160, FIRST.isoformat(), (FIRST + timedelta(days=20)).isoformat()),
        5.4 * 3600, tuple(sections),
        (("2031-02", "left out", 14), ("2031-02", "accidental missed", 9)), Edit(),
    )  # fmt: skip
