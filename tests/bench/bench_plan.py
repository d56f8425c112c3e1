"""The plan against playing from start to end and against worst-first, on simulated learners.

    python tests/bench/bench_plan.py [--seeds 200] [--days 60] [--only LEARNER]

Printed: minutes of practice, at most forty a day, and days until the whole form is secure (by
`engine.standing`), as quantiles over the learners; and how many of them got there sooner by the
plan than from start to end. It is a simulation: it tells how a plan fares *if* learning went as in
`learners.py`, and nothing about people. In it short spans and hands alone have no merit of their
own, and every pass costs a breath of eight seconds, which favours long ones.

The model was frozen on the day below, before the plan's rules were tuned; a first version of it had
been changed once after the plan had met it. Rules were tuned on seeds from 1000 and on the learners
of `SWEEP`; what is printed is of seeds from 0, and the learners of `HELD_OUT` were met only after.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from engine.arrangement import Arrangement, Hands, Span
from engine.drill.ladder import find_rung
from engine.drill.sheet import PassResult
from engine.section_review import section_span
from engine.standing import SectionPass, find_standing
from practice.library import open_arrangement
from practice.plan.plan import NEAR_TEMPO, make_plan
from practice.plan.plan_facts import (
    HandFacts,
    PlanFacts,
    falls_apart,
    kept_cold,
    reached,
    row_today,
)
from practice.plan.plan_items import Begin, PlanItem, PlanOptions
from practice.plan.plan_sheets import sheet_of
from practice.plan.recall import Recall, find_recall
from practice.progress.weak_bars import WEAK_PASSES, weak_bars
from practice.store.section_store import KeptSection
from tests.bench.learners import SWEEP, Learner, Learning

ROOT = Path(__file__).resolve().parents[2]
FROZEN = ("2026-11-25", "b057fda090578f821762c788659302bb92aeabbdff06a9432ccd47413f75b895")
#: Parameters that the tuning did not see.
HELD_OUT: dict[str, Learning] = {
    "held out: quick": Learning(gain=0.5),
    "held out: long memory": Learning(keep=0.7, days=8.0),
    "held out: slow, forgets": Learning(gain=0.25, keep=0.4, days=3.0, spacing=0.5),
}
QUANTILES = (0.1, 0.25, 0.5, 0.75, 0.9)
MINUTES, BREATH_S = 40.0, 8.0
START = datetime(2026, 1, 1, 18, 0, tzinfo=UTC)
SECURE = "secure"


@dataclass
class Room:
    """A learner, the page's sections, and everything played so far."""

    arrangement: Arrangement
    learner: Learner
    sections: list[Span]
    names: list[str]
    day: int = 0
    spent_s: float = 0.0
    passes: dict[tuple[int, str], list[SectionPass]] = field(default_factory=dict)
    rows: dict[tuple[int, str], list[KeptSection]] = field(default_factory=dict)
    seen: set[tuple[int, int]] = field(default_factory=set)
    played: list[tuple[Hands, set[int], set[int]]] = field(default_factory=list)
    ran_through: int = -1
    secure_s: float | None = None
    recalls: dict[tuple[int, str, int], Recall | None] = field(default_factory=dict)

    @property
    def now(self) -> datetime:
        return START + timedelta(days=self.day, seconds=self.spent_s)

    def play(self, span: Span, hands: Hands, tempo: float) -> bool:
        """One pass; whether every section in it (or, of a part, every bar) was good."""
        right = self.learner.play(span.from_bar, span.to_bar, hands, tempo)
        seconds = float(np.diff(self.arrangement.seconds_at(
            [float(q) for q in span.quarters(self.arrangement)]))[0])  # fmt: skip
        self.spent_s += seconds / tempo + BREATH_S
        bars = range(span.from_bar, span.to_bar + 1)
        faulty = {bar for bar, ok in zip(bars, right, strict=True) if not ok}
        self.played.append((hands, set(bars), faulty))
        if hands == "both" and span == self.whole:
            self.ran_through = self.day
        good = bool(right.mean() >= 0.97)
        fresh = len(self.seen)
        for k, section in enumerate(self.sections):
            if section.from_bar > span.to_bar or section.to_bar < span.from_bar:
                continue
            whole = span.from_bar <= section.from_bar and section.to_bar <= span.to_bar
            part = right[
                max(section.from_bar - span.from_bar, 0) : section.to_bar - span.from_bar + 1
            ]
            self._keep(k, hands, whole, part, tempo)
        if len(self.seen) > fresh and self.secure_s is None and self.secure():
            self.secure_s = self.spent_s
        return good

    def _keep(self, k: int, hands: Hands, whole: bool, right: np.ndarray, tempo: float) -> None:
        share = 1 - 0.25 * (1 - float(right.mean()))  # a faulty bar has a quarter of its notes off
        good = share >= 0.97
        day = self.now.date().isoformat()
        cold = whole and (k, self.day) not in self.seen
        self.seen.add((k, self.day))
        why = "" if good else "notes off"
        self.passes.setdefault((k, hands), []).append(
            SectionPass(k, hands, day, whole, good, why, tempo, share, 100, None, cold)
        )
        us = int(self.now.timestamp() * 1e6)
        self.rows.setdefault((k, hands), []).append(
            KeptSection(0, 0, str(k), hands, us, day, cold, whole, good, why, tempo,
                        int(share * 100), 100, 10.0, None, None, None, (), {})
        )  # fmt: skip

    @property
    def whole(self) -> Span:
        return Span(self.sections[0].from_bar, self.sections[-1].to_bar)

    def stage(self, k: int, hands: str) -> str:
        return find_standing(k, hands, self.passes.get((k, hands), [])).stage  # type: ignore[arg-type]

    def secure(self) -> bool:
        return all(self.stage(k, "both") == SECURE for k in range(len(self.sections)))

    def up_to_tempo_today(self) -> bool:
        """Every section is up to tempo by passes of today."""
        today = self.now.date().isoformat()
        return all(
            sum(p.day == today and p.good_at(0.95) for p in self.passes.get((k, "both"), [])[-3:])
            > 1
            for k in range(len(self.sections))
        )

    def facts(self) -> PlanFacts:
        hands = [
            self.fact(k, h) for k in range(len(self.sections)) for h in ("left", "right", "both")
        ]
        weak = weak_bars(self.played[: -WEAK_PASSES - 1 : -1])
        ran = self.ran_through == self.day
        return PlanFacts(self.arrangement, "s", tuple(hands), tuple(weak), (), ran)

    def fact(self, k: int, hands: Hands) -> HandFacts:
        rows = self.rows.get((k, hands), [])
        judged = [r for r in rows if r.asked]
        seconds = float(np.diff(self.arrangement.seconds_at(
            [float(q) for q in self.sections[k].quarters(self.arrangement)]))[0])  # fmt: skip
        return HandFacts(
            k, self.names[k], self.sections[k], str(k), hands, seconds,
            self.stage(k, hands), len(judged),  # type: ignore[arg-type]
            reached(judged),
            self._recall(k, hands, rows),
            any(r.day == self.now.date().isoformat() for r in rows),
            len(judged) > 1 and not (judged[-1].good or judged[-2].good),
            falls_apart(judged),
            sum(r.good for r in judged[-3:]) >= 2,
            kept_cold(judged),
            row_today(judged, self.now.date().isoformat()),
            bool(rows) and rows[0].day == self.now.date().isoformat(),
        )  # fmt: skip

    def _recall(self, k: int, hands: str, rows: list[KeptSection]) -> Recall | None:
        cold = [r for r in rows if r.cold]
        key = (k, hands, len(cold))
        if key not in self.recalls:
            self.recalls[key] = find_recall(cold[-20:], self.now)
        return self.recalls[key]

    def sleep(self) -> None:
        self.learner.sleep()
        self.day += 1
        self.spent_s = 0.0


def by_plan(room: Room, begin: Begin = "as it goes") -> None:
    """A day by the plan; what is left of the time goes to a new plan, until it has no more."""
    while room.spent_s < MINUTES * 60:
        left = MINUTES - room.spent_s / 60
        options = PlanOptions(minutes=max(left, 5), warm_up_min=0, break_after_min=1e9, begin=begin)
        before = room.spent_s
        for item in make_plan(room.facts(), room.now, options):
            if item.span is not None and room.spent_s < MINUTES * 60:
                _do_item(room, item, options)
        if room.spent_s == before:
            break


def _do_item(room: Room, item: PlanItem, options: PlanOptions) -> None:
    """The item's own drill, its tempo by the ladder that the player gets."""
    sheet = sheet_of(item, room.arrangement, options)
    assert sheet is not None
    span = room.whole if item.kind == "run-through" else item.span
    hands: Hands = item.hands or "both"
    history: list[PassResult] = []
    for _ in range(item.passes or 1):
        rate = _own_tempo(room, item)
        if sheet.pulse == "strict":
            rung = find_rung(sheet.ladder, history)
            if rung.done or rung.given_up:
                return
            rate = rung.rate
        good = room.play(span, hands, rate)
        history.append(PassResult(span, hands, rate, good))
        if room.spent_s >= MINUTES * 60:
            return


def _own_tempo(room: Room, item: PlanItem) -> float:
    """What a player takes who is left to their own pace: what was reached, or all of it if near."""
    told = [room.fact(k, item.hands or "both").tempo_share for k in range(len(room.sections))
            if item.section < 0 or item.section <= k <= max(item.last, item.section)]  # fmt: skip
    least = min(share or 0.6 for share in told)
    return max(least, 0.95) if least >= NEAR_TEMPO else least


def start_to_end(room: Room, stopping: bool = False) -> None:
    """The whole form again and again; the tempo up a step after a good pass, down after a bad."""
    tempo = getattr(room, "tempo", 0.6)
    while room.spent_s < MINUTES * 60 and not (stopping and room.up_to_tempo_today()):
        good = room.play(room.whole, "both", tempo)
        tempo = min(tempo * 1.04, 1.0) if good else max(tempo / 1.04, 0.5)
    room.tempo = tempo  # type: ignore[attr-defined]


def worst_first(room: Room) -> None:
    """Each section once, then four passes of the one that went worst, and so on; own tempos."""
    tempos = room.__dict__.setdefault("tempos", [0.6] * len(room.sections))
    for k, section in enumerate(room.sections):
        good = room.play(section, "both", tempos[k])
        tempos[k] = min(tempos[k] * 1.04, 1.0) if good else max(tempos[k] / 1.04, 0.5)
    while room.spent_s < MINUTES * 60:
        last = [
            (room.rows[k, "both"][-1].right_share, tempos[k])
            if (k, "both") in room.rows
            else (0, 0)
            for k in range(len(room.sections))
        ]
        k = min(range(len(last)), key=lambda i: last[i])
        for _ in range(4):
            good = room.play(room.sections[k], "both", tempos[k])
            tempos[k] = min(tempos[k] * 1.04, 1.0) if good else max(tempos[k] / 1.04, 0.5)


def by_plan_separately(room: Room) -> None:
    """A day by the plan, new sections begun with each hand alone."""
    by_plan(room, "separately")


def start_to_end_and_stop(room: Room) -> None:
    """The same, but done for the day when every section is up to tempo, as the plan is."""
    start_to_end(room, stopping=True)


WAYS: dict[str, Callable[[Room], None]] = {
    "plan": by_plan,
    "plan, separately": by_plan_separately,
    "start to end": start_to_end,
    "... and stop": start_to_end_and_stop,
    "worst first": worst_first,
}


def time_to_secure(
    arrangement: Arrangement, learning: Learning, way: str, seed: int, days: int
) -> tuple[float, float]:
    """Minutes of practice and days until all is secure; infinite if not within the days."""
    first = arrangement.form.sections[:6]
    spans, names = [section_span(s) for s in first], [s.name for s in first]
    twins = [(4 + k, 12 + k) for k in range(4)] + [(4 + k, 28 + k) for k in range(4)]
    learner = Learner(learning, len(arrangement.bars), twins, np.random.default_rng(seed))
    room = Room(arrangement, learner, spans, names)
    spent = 0.0
    for day in range(days):
        WAYS[way](room)
        if room.secure_s is not None:
            return spent + room.secure_s / 60, day + 1
        spent += room.spent_s / 60
        room.sleep()
    return float("inf"), float("inf")


def is_frozen() -> bool:
    """Whether the model of the learners is the one that was written down."""
    text = (ROOT / "tests" / "bench" / "learners.py").read_bytes()
    return hashlib.sha256(text).hexdigest() == FROZEN[1]


def compare(arrangement: Arrangement, name: str, learning: Learning, seeds: int, days: int) -> None:
    """Print a learner's rows: one for each way."""
    took = {
        way: np.array([time_to_secure(arrangement, learning, way, k, days) for k in range(seeds)])
        for way in WAYS
    }
    for way, told in took.items():
        minutes, day = told[:, 0], np.quantile(told[:, 1], 0.5, method="inverted_cdf")
        spread = np.quantile(minutes, QUANTILES, method="inverted_cdf")
        never = np.mean(~np.isfinite(minutes))
        sooner = np.mean(took["plan"][:, 0] < minutes)
        print(
            f"{name:<35} {way:<17}" + "".join(f"{q:>6.0f}" for q in spread)
            + f"{day:>6.0f}{never:>7.0%}" + ("" if way == "plan" else f"{sooner:>8.0%}")
        )  # fmt: skip
    sys.stdout.flush()


def main() -> None:
    """Print the distributions."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=200)
    parser.add_argument("--days", type=int, default=60)
    parser.add_argument("--only", help="one of the learners by name")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as cache:
        score = ROOT / "exercises" / "salt-pans-night-shift.musicxml"
        arrangement = open_arrangement(score, cache)
    print("the model is as frozen on " + FROZEN[0] if is_frozen() else "THE MODEL WAS CHANGED")
    print(
        f"minutes to secure, {options.seeds} simulated learners each, at most {options.days} days; "
        "plan sooner: share of learners"
    )
    heads = "".join(f"{q:>6.0%}" for q in QUANTILES)
    print(f"{'learner':<35} {'way':<17}{heads}{'days':>6}{'never':>7} plan sooner")
    for name, learning in {**SWEEP, **HELD_OUT}.items():
        if options.only in (None, name):
            compare(arrangement, name, learning, options.seeds, options.days)


if __name__ == "__main__":
    main()
