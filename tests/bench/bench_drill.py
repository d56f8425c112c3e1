"""Drills with a simulated pianist: `python -m tests.bench.bench_drill [--json FOLDER]`.

The pianist has a tempo up to which the passage is safe, and above which slips and scatter grow.
In one drill the safe tempo rises with every pass, as practice does (power law of practice: Drake &
Palmer, Cognition 74, 2000); in the other it stays far below the goal and tiredness lowers it. Each
pass is played, reviewed and judged by the same code as at the keyboard; the coach answers.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from engine.arrangement import Arrangement
from engine.drill import DrillSheet, Ladder
from engine.performance import NotePairer, PedalMove, PlayedNote, Pulse
from engine.read import read_arrangement
from practice.drill import Drill, find_span
from practice.drills.coach import Coach
from practice.listen.happenings import PassEnded
from practice.listen.judge import judge_pass
from practice.player import Character, SlipShares, perform
from practice.snapshot import Command

ROOT = Path(__file__).resolve().parents[2]


@dataclass
class Learner:
    """A pianist whose safe tempo (share of the mark) moves by a factor with each pass."""

    safe: float
    gain: float
    limit: float

    def character(self, rate: float) -> Character:
        """How they play at a tempo."""
        strain = max(rate / self.safe - 1.0, 0.0)
        return Character(
            timekeeper_sd_ms=5 + 60 * strain,
            finger_sd_ms=5 + 30 * strain,
            level_sd=4,
            correction=0.3,
            slips=SlipShares(
                neighbour=min(0.002 + 0.25 * strain, 0.3), left_out=min(0.2 * strain, 0.3)
            ),
        )

    def practise(self) -> None:
        """One more pass behind them."""
        self.safe += self.gain * (self.limit - self.safe)


def play_pass(
    arrangement: Arrangement, drill: Drill, learner: Learner, rng: np.random.Generator, number: int
) -> tuple[bool, str]:
    """One pass played and judged: (good, why not)."""
    start_q = float(drill.span.quarters(arrangement)[0])
    events = perform(
        arrangement, learner.character(drill.rate), rng, span=drill.span,
        hands=drill.hands or "both", start_s=1.0, rate=drill.rate,
    )  # fmt: skip
    pairer = NotePairer()
    said = [thing for event in events for thing in pairer.hear(event)]
    said += pairer.close(events[-1].time_s + 1)
    notes: dict[int, PlayedNote] = {n.index: n for n in said if isinstance(n, PlayedNote)}
    pedals = tuple(p for p in said if isinstance(p, PedalMove))
    ended = PassEnded(
        arrangement, 1, number, 0, tuple(notes[k] for k in sorted(notes)), pedals, drill.span,
        drill.hands, Pulse("strict", 1.0, start_q, drill.rate),
    )  # fmt: skip
    judged = judge_pass(ended)
    return (judged[0].good, judged[0].why_not) if judged else (False, "nothing to judge")


def run_drill(
    arrangement: Arrangement, sheet: DrillSheet, learner: Learner, seed: int
) -> tuple[list[dict[str, Any]], str]:
    """The log of a drill to its end, and the coach's last word."""
    span = find_span(arrangement, bars=sheet.where[0].removeprefix("bars "))
    coach = Coach(sheet, arrangement, [span])
    rng = np.random.default_rng(seed)
    at_s = 0.0
    for number in range(1, 121):
        drill = coach.drill
        safe = learner.safe
        good, why_not = play_pass(arrangement, drill, learner, rng, number)
        seconds = 12.0 / drill.rate
        command: Command = coach.take_in(good, why_not, at_s, seconds)
        coach.log[-1]["safe_tempo"] = round(safe, 3)
        learner.practise()
        at_s += seconds + 4.0
        if command.extra["over"]:
            break
    return coach.log, coach.drill.reason


DRILLS: dict[str, tuple[DrillSheet, Learner]] = {
    "improves": (
        DrillSheet("improves", ("bars 3-6",), ("left",), ladder=Ladder(start=0.6)),
        Learner(safe=0.68, gain=0.035, limit=1.15),
    ),
    "fails": (
        DrillSheet("fails", ("bars 3-6",), ("left",), ladder=Ladder(start=0.8)),
        Learner(safe=0.5, gain=0.02, limit=0.25),
    ),
    "by turns": (
        replace(
            DrillSheet("by turns", ("bars 3-6",), ("left",)), ladder=Ladder("alternate", start=0.6)
        ),
        Learner(safe=0.68, gain=0.035, limit=1.15),
    ),
}


def run(argv: list[str]) -> int:
    """Both drills, as lines and as JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", metavar="FOLDER")
    parser.add_argument("--seed", type=int, default=3)
    options = parser.parse_args(argv)
    arrangement = read_arrangement(ROOT / "exercises" / "brine-pump.musicxml")
    for name, (sheet, learner) in DRILLS.items():
        log, word = run_drill(arrangement, sheet, replace(learner), options.seed)
        print(f"\n{name}: {len(log)} passes; then: {word}")
        for row in log:
            mark = "good" if row["good"] else f"poor ({row['why_not']})"
            print(f"  {row['rate']:5.0%}  safe {row['safe_tempo']:4.0%}  {mark}; {row['reason']}")
        if options.json:
            folder = Path(options.json)
            folder.mkdir(parents=True, exist_ok=True)
            told = {"drill": name, "passes": log, "end": word}
            (folder / f"drill-{name.replace(' ', '-')}.json").write_text(json.dumps(told, indent=1))
    return 0


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
