"""A year of practising by the simulated pianist, kept as the real thing keeps it: to look at pages.

    python -m tests.bench.make_year DIR [--days 365] [--arrangement SCORE] [--until 2026-11-24]

Day by day the plan is asked, each item's drill is played, judged and stored. Which bars go wrong
is told by the learner's model of `learners.py`; the notes come from `practice.player`. Planted, so
that one can see whether the page finds them: one place of the figure is late, and mended in the
eighth month; four weeks without playing in summer; one section that never keeps. It is a
simulation. Then: `undersong progress SCORE --data DIR --html year.html`.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from engine.arrangement import Arrangement, Hands, Span
from engine.drill import PassResult
from engine.drill.ladder import find_rung
from engine.performance import DAMPER, KeyEvent, PedalMove, PlayedNote, Pulse, pair_notes
from engine.section_review import section_span
from practice.library import open_arrangement
from practice.listen.happenings import PassEnded
from practice.listen.judge import detail_of, judge_pass
from practice.listen.judged_pass import keep_as
from practice.plan.plan import make_plan
from practice.plan.plan_facts import gather_facts
from practice.plan.plan_items import PlanItem, PlanOptions
from practice.plan.plan_sheets import sheet_of
from practice.player import Character, Pedalling, Truth, perform_with_truth
from practice.store.event_blobs import step_event
from practice.store.kept import TakeStart
from practice.store.section_store import keep_bars
from practice.store.store import Store
from tests.bench.learners import Learner, Learning

ROOT = Path(__file__).resolve().parents[2]
ZONE = ZoneInfo("Europe/Berlin")
#: Minutes a day, days of the week off, first and last day of the summer without playing.
MINUTES, OFF = 8.0, (2, 6)
AWAY = (185, 213)
#: The place of the figure that is late (counted from 0), by how much, until which day.
LATE_PLACE, LATE_MS, MENDED = 5, 16.0, 215
#: The section that forgets everything overnight.
LEAKY = 4


@dataclass
class Year:
    """The pianist, the page and the store."""

    store: Store
    arrangement: Arrangement
    path: str
    learner: Learner
    rng: np.random.Generator
    first: datetime
    day: int = 0
    spent_s: float = 0.0
    late: dict[int, float] = field(default_factory=dict)

    @property
    def now(self) -> datetime:
        return self.first + timedelta(days=self.day, seconds=self.spent_s)

    def live(self, days: int) -> int:
        """So many days; how many passes were played."""
        passes = 0
        for day in range(days):
            self.day, self.spent_s = day, 0.0
            rests = self.now.weekday() in OFF or AWAY[0] <= day < AWAY[1]
            passes += 0 if rests else self._practise()
            self._sleep()
        return passes

    def _practise(self) -> int:
        facts = gather_facts(self.store, self.arrangement, self.path, self.now)
        options = PlanOptions(minutes=MINUTES, warm_up_min=0)
        items = [i for i in make_plan(facts, self.now, options) if i.span is not None]
        count = 0
        for item in items:
            if self.spent_s < MINUTES * 60:
                count += self._drill(item, options)
        return count

    def _drill(self, item: PlanItem, options: PlanOptions) -> int:
        sheet = sheet_of(item, self.arrangement, options)
        assert sheet is not None
        assert item.span is not None
        history: list[PassResult] = []
        for number in range(item.passes or 1):
            span = item.other if item.other is not None and number % 2 else item.span
            rung = find_rung(sheet.ladder, history)
            if sheet.pulse == "strict" and (rung.done or rung.given_up):
                break
            rate = rung.rate if sheet.pulse == "strict" else 0.96
            good = self.play(span, item.hands or "both", rate)
            history.append(PassResult(span, item.hands or "both", rate, good))
        return len(history)

    def play(self, span: Span, hands: Hands, rate: float) -> bool:
        """One pass, kept."""
        wrong = self._wrong_bars(span, hands, rate)
        notes, pedals = self._perform(span, hands, rate, wrong)
        events = [step_event(e) for e in _events(notes, pedals)]
        started = self.now
        recording = pair_notes(events)
        self.spent_s += events[-1].time_s + 8.0
        ended = PassEnded(self.arrangement, 1, 1, 0, recording.notes, recording.pedals, span, hands,
                          Pulse())  # fmt: skip
        start = TakeStart(self.arrangement.content_hash, self.arrangement.title, self.path, "piano",
                          "played", started, span, hands, "free", rate)  # fmt: skip
        take = self.store.begin_take(start)
        self.store.append(take, events, self.now)
        self.store.end_take(take, self.now)
        good = True
        for number, one in enumerate(judge_pass(ended), 1):
            began = started + timedelta(seconds=one.review.notes[0].onset_s)
            self.store.add_pass(keep_as(one, number, began, take), detail_of(one))
            good = good and one.good
        return good

    def _wrong_bars(self, span: Span, hands: Hands, rate: float) -> set[int]:
        """Bars that go wrong; a bar that comes again is the same one to the learner."""
        bars = self.arrangement.bars
        first = {b.written: b.index for b in reversed(bars)}
        learnt = [first[bars[k].written] for k in range(span.from_bar, span.to_bar + 1)]
        wrong: set[int] = set()
        at = 0
        for k in range(1, len(learnt) + 1):
            if k == len(learnt) or learnt[k] != learnt[k - 1] + 1:
                right = self.learner.play(learnt[at], learnt[k - 1], hands, rate)
                wrong |= {span.from_bar + at + n for n in np.flatnonzero(~right).tolist()}
                at = k
        return wrong

    def _perform(
        self, span: Span, hands: Hands, rate: float, wrong: set[int]
    ) -> tuple[list[PlayedNote], tuple[PedalMove, ...]]:
        """The notes as played: uneven as one is on that day, with two faults in each wrong bar."""
        played = perform_with_truth(
            self.arrangement, self._character(), self.rng, span=span, hands=hands, start_s=0.5,
            rate=rate,
        )  # fmt: skip
        recording = pair_notes(list(played.events))
        notes = list(recording.notes)
        self._delay(notes, played.truth)
        faulty = [self._faults(played.truth, bar) for bar in sorted(wrong)]
        lost = {k for pair in faulty for k in pair[1:] if self.rng.random() < 0.4}
        for pair in faulty:
            for k in pair:
                step = int(self.rng.choice((-2, -1, 1, 2)))
                notes[k] = replace(notes[k], pitch=min(max(notes[k].pitch + step, 21), 108))
        return [n for k, n in enumerate(notes) if k not in lost], recording.pedals

    def _character(self) -> Character:
        unpractised = float(np.exp(-self.day / 60))
        return Character(
            finger_sd_ms=7.0 + 9.0 * unpractised, timekeeper_sd_ms=5.0 + 5.0 * unpractised,
            level_sd=4.0, lead_ms=12.0, split_ms=4.0, spread_sd_ms=5.0,
            pedalling=Pedalling(sd_ms=30.0, missed=0.05 + 0.2 * unpractised),
        )  # fmt: skip

    def _delay(self, notes: list[PlayedNote], truth: tuple[Truth, ...]) -> None:
        """One place of the figure late, until it is mended."""
        if self.day >= MENDED:
            return
        for told in truth:
            if told.score in self.late:
                late_s = self.late[told.score] / 1000
                one = notes[told.played]
                notes[told.played] = replace(one, onset_s=one.onset_s + late_s,
                                             release_s=one.release_s + late_s)  # fmt: skip

    def _faults(self, truth: tuple[Truth, ...], bar: int) -> list[int]:
        """Two notes of a bar, as far as it has two: always the same ones are the hard ones."""
        inside = [t.played for t in truth if t.score is not None
                  and self.arrangement.notes[t.score].bar == bar]  # fmt: skip
        hard = np.random.default_rng(bar).permutation(len(inside))[:2]
        return [inside[k] for k in hard.tolist()]

    def _sleep(self) -> None:
        self.learner.sleep()
        leaky = section_span(self.arrangement.form.sections[LEAKY])
        part = slice(leaky.from_bar, leaky.to_bar + 1)
        self.learner.kept[:, part] *= 0.55
        self.learner.skill[:, part] *= 0.75


def _events(notes: list[PlayedNote], pedals: tuple[PedalMove, ...]) -> list[KeyEvent]:
    told = [(n.onset_s, bytes([0x90, n.pitch, n.velocity])) for n in notes]
    told += [(n.release_s, bytes([0x80, n.pitch, 64])) for n in notes]
    told += [(p.time_s, bytes([0xB0, DAMPER, p.value])) for p in pedals if p.controller == DAMPER]
    return [KeyEvent(at, 0.0005, data) for at, data in sorted(told)]


def main() -> None:
    """Make the year."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--until", default="2026-11-24")
    parser.add_argument(
        "--arrangement", type=Path, default=ROOT / "exercises" / "salt-pans-night-shift.musicxml"
    )
    options = parser.parse_args()
    arrangement = open_arrangement(options.arrangement, options.folder / "cache")
    last = datetime.fromisoformat(options.until).replace(hour=19, tzinfo=ZONE)
    rng = np.random.default_rng(11)
    twins = [(4 + k, 12 + k) for k in range(4)] + [(4 + k, 28 + k) for k in range(4)]
    learner = Learner(Learning(gain=0.16, keep=0.35, days=5.0), len(arrangement.bars), twins, rng)
    late = {
        cell[LATE_PLACE]: LATE_MS
        for figure in arrangement.form.figures
        for cell in figure.occurrences
        if len(cell) > LATE_PLACE
    }
    with Store(options.folder / "takes.db") as store:
        year = Year(store, arrangement, str(options.arrangement), learner, rng,
                    last - timedelta(days=options.days - 1), late=late)  # fmt: skip
        passes = year.live(options.days)
        keep_bars(store, arrangement)
    print(f"{passes} passes on {options.days} days in {options.folder}")


if __name__ == "__main__":
    main()
