"""The plan against playing from start to end and against worst-first, on simulated learners.

    python tests/bench/bench_plan.py [--seeds 200] [--days 60]

Printed: minutes of practice until the whole form is secure (by `engine.standing`), forty minutes a
day. The model is in `learners.py` and was frozen before the plan met it. It is a simulation.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from engine.arrangement import Arrangement, Hands, Span
from engine.section_review import section_span
from engine.standing import SectionPass, find_standing
from practice.library import open_arrangement
from practice.plan.plan import PlanOptions, make_plan
from practice.plan.plan_facts import HandFacts, PlanFacts, WeakBar
from practice.plan.recall import Recall, find_recall
from practice.store.section_store import KeptSection
from tests.bench.learners import SWEEP, Learner, Learning

ROOT = Path(__file__).resolve().parents[2]
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
    faults: list[tuple[str, np.ndarray, int]] = field(default_factory=list)
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
        self.faults.append((hands, np.flatnonzero(~right) + span.from_bar, span.from_bar))
        good = bool(right.mean() >= 0.97)
        for k, section in enumerate(self.sections):
            if section.from_bar > span.to_bar or section.to_bar < span.from_bar:
                continue
            whole = span.from_bar <= section.from_bar and section.to_bar <= span.to_bar
            part = right[
                max(section.from_bar - span.from_bar, 0) : section.to_bar - span.from_bar + 1
            ]
            self._keep(k, hands, whole, part, tempo)
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

    def stage(self, k: int, hands: str) -> str:
        return find_standing(k, hands, self.passes.get((k, hands), [])).stage  # type: ignore[arg-type]

    def secure(self) -> bool:
        return all(self.stage(k, "both") == SECURE for k in range(len(self.sections)))

    def facts(self) -> PlanFacts:
        hands = [
            self._fact(k, h) for k in range(len(self.sections)) for h in ("left", "right", "both")
        ]
        return PlanFacts(self.arrangement, "s", tuple(hands), tuple(self._weak()))

    def _fact(self, k: int, hands: Hands) -> HandFacts:
        rows = self.rows.get((k, hands), [])
        judged = [r for r in rows if r.asked]
        good = [r.tempo_share for r in judged if r.good][-5:] or [r.tempo_share for r in judged][
            -3:
        ]
        seconds = float(np.diff(self.arrangement.seconds_at(
            [float(q) for q in self.sections[k].quarters(self.arrangement)]))[0])  # fmt: skip
        return HandFacts(
            k, self.names[k], self.sections[k], str(k), hands, seconds,
            self.stage(k, hands), len(judged),  # type: ignore[arg-type]
            sorted(good)[len(good) // 2] if good else None,
            self._recall(k, hands, rows),
            any(r.day == self.now.date().isoformat() for r in rows),
            len(judged) > 1 and not (judged[-1].good or judged[-2].good),
            sum(r.good for r in judged[-3:]) >= 2,
            bool(rows) and rows[0].day == self.now.date().isoformat(),
        )  # fmt: skip

    def _recall(self, k: int, hands: str, rows: list[KeptSection]) -> Recall | None:
        cold = [r for r in rows if r.cold]
        key = (k, hands, len(cold))
        if key not in self.recalls:
            self.recalls[key] = find_recall(cold[-20:], self.now)
        return self.recalls[key]

    def _weak(self) -> list[WeakBar]:
        count: dict[tuple[int, str], int] = {}
        for hands, bars, _ in self.faults[-8:]:
            for bar in bars.tolist():
                count[bar, hands] = count.get((bar, hands), 0) + 1
        weak = [WeakBar(bar, n, 8, hands) for (bar, hands), n in count.items() if n >= 2]  # type: ignore[arg-type]
        return sorted(weak, key=lambda w: (-w.faulty, w.bar))

    def sleep(self) -> None:
        self.learner.sleep()
        self.day += 1
        self.spent_s = 0.0


def by_plan(room: Room, together: bool = False) -> None:
    """A day by the plan; what is left of the time goes to a new plan."""
    while room.spent_s < MINUTES * 60:
        left = MINUTES - room.spent_s / 60
        options = PlanOptions(
            minutes=max(left, 5), warm_up_min=0, break_after_min=1e9, together=together
        )
        before = room.spent_s
        for item in make_plan(room.facts(), room.now, options):
            if item.span is not None and room.spent_s < MINUTES * 60:
                _do_item(room, item, options.enough)
        if room.spent_s == before:
            break


def _do_item(room: Room, item, enough: int) -> None:
    reached = room._fact(item.section, item.hands).tempo_share if item.section >= 0 else None
    tempo = item.rate or (max(reached or 0.6, 0.95) if item.kind == "cold" else reached) or 0.95
    row = 0
    for _ in range(item.passes or 1):
        good = room.play(item.span, item.hands or "both", tempo)
        row = row + 1 if good else 0
        if item.kind in ("ladder", "slower", "join", "new"):  # the drill follows the results
            tempo = min(tempo * 1.04, 1.0) if good else max(tempo / 1.04, 0.5)
        if row >= enough or room.spent_s >= MINUTES * 60:
            return


def start_to_end(room: Room) -> None:
    """The whole form again and again; the tempo up a step after a good pass, down after a bad."""
    whole = Span(room.sections[0].from_bar, room.sections[-1].to_bar)
    tempo = getattr(room, "tempo", 0.6)
    while room.spent_s < MINUTES * 60:
        good = room.play(whole, "both", tempo)
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


def by_plan_together(room: Room) -> None:
    """A day by the plan, new sections begun with both hands."""
    by_plan(room, together=True)


WAYS: dict[str, Callable[[Room], None]] = {
    "plan": by_plan,
    "plan, together": by_plan_together,
    "start to end": start_to_end,
    "worst first": worst_first,
}


def minutes_to_secure(
    arrangement: Arrangement, learning: Learning, way: str, seed: int, days: int
) -> float:
    """Minutes of practice until all is secure; infinite if not within the days."""
    first = arrangement.form.sections[:6]
    spans, names = [section_span(s) for s in first], [s.name for s in first]
    twins = [(4 + k, 12 + k) for k in range(4)] + [(4 + k, 28 + k) for k in range(4)]
    learner = Learner(learning, len(arrangement.bars), twins, np.random.default_rng(seed))
    room = Room(arrangement, learner, spans, names)
    spent = 0.0
    for _ in range(days):
        WAYS[way](room)
        spent += room.spent_s / 60
        if room.secure():
            return spent
        room.sleep()
    return float("inf")


def main() -> None:
    """Print the distributions."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=200)
    parser.add_argument("--days", type=int, default=60)
    parser.add_argument("--only", help="one of the sweep by name")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as cache:
        score = ROOT / "exercises" / "salt-pans-night-shift.musicxml"
        arrangement = open_arrangement(score, cache)
    print(
        f"Minutes to secure, {options.seeds} simulated learners each, at most {options.days} days"
    )
    print(f"{'learner':<36} {'way':<14} {'10 %':>6} {'median':>6} {'90 %':>6} {'never':>5} fastest")
    for name, learning in SWEEP.items():
        if options.only and options.only != name:
            continue
        took = {
            way: np.array([
                minutes_to_secure(arrangement, learning, way, seed, options.days)
                for seed in range(options.seeds)
            ])
            for way in WAYS
        }  # fmt: skip
        least = np.min(list(took.values()), axis=0)
        for way, minutes in took.items():
            q = np.quantile(minutes, [0.1, 0.5, 0.9], method="inverted_cdf")
            best = np.mean((minutes == least) & np.isfinite(minutes))
            never = np.mean(~np.isfinite(minutes))
            spread = f"{q[0]:>6.0f} {q[1]:>6.0f} {q[2]:>6.0f}"
            print(f"{name:<36} {way:<14} {spread} {never:>5.0%} {best:>7.0%}")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
