"""When a section is due to be recalled, by a spacing model (fsrs) fed with cold passes.

One review a day: the cold pass, rated by `practice.plan.plan_rules.RATINGS`. The model's state is
worked out afresh from the last cold passes, so nothing of it is kept. It was made for learning
words; that its times hold for playing is not shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from practice.plan.plan_rules import rate_cold
from practice.store.section_store import KeptSection

#: Due when the model expects to recall it with this probability.
WANTED = 0.9
#: So many last cold passes are looked at.
COLD_PASSES = 60
#: No section is left alone longer than this.
LONGEST_DAYS = 90


@dataclass(frozen=True, slots=True)
class Recall:
    """due: when (UTC). chance: of recall now by the model. reviews: cold passes behind it."""

    due: datetime
    chance: float
    reviews: int


def find_recall(cold: Sequence[KeptSection], now: datetime) -> Recall | None:
    """When a section and hand is due; None where it was never played cold.

    Args:
        cold: its cold passes, oldest first. now: with its offset from UTC.
    """
    from fsrs import Card, Rating, Scheduler

    if not cold:
        return None
    ratings = {"again": Rating.Again, "hard": Rating.Hard, "good": Rating.Good, "easy": Rating.Easy}
    scheduler = Scheduler(
        desired_retention=WANTED, learning_steps=(), relearning_steps=(),
        maximum_interval=LONGEST_DAYS, enable_fuzzing=False,
    )  # fmt: skip
    card = Card(card_id=1, due=_moment(cold[0]))
    for one in cold[-COLD_PASSES:]:
        card, _ = scheduler.review_card(card, ratings[rate_cold(one)], _moment(one))
    chance = float(scheduler.get_card_retrievability(card, now.astimezone(UTC)))
    return Recall(card.due, chance, len(cold[-COLD_PASSES:]))


def _moment(one: KeptSection) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=one.started_us)
