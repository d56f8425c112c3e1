"""How often do the 95 % intervals hold the truth, and how far off are the estimates on average?

Run as `python -m tests.bench.bench_coverage [RUNS]` (1,000 runs take about ten minutes). Every
run is a playing with known truth (`tests.measure.known_playing`), measured whole by
`engine.measure.measure`. A row is sound where the interval covers the truth in 93 to 97 % of runs
and the mean estimate is within its stated error: no further from the truth than a tenth of the
mean half-width of the interval plus three standard errors of the mean over runs. Where the
truth is a share of nought nothing can lie below it: there 93 to 100 % and a mean within one
half-width count as sound.

A thousand runs tell a coverage to within 1.4 % (two standard errors), so that of many sound rows
some fall outside by chance. Each that does is marked (*) and counted again over three times as
many other seeds; both are printed, and the exit status goes by the second.
"""

from __future__ import annotations

import math
import platform
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np

from engine.arrangement import whole_span
from engine.findings import Estimate
from engine.measure import Measures, measure
from engine.performance import Pulse
from tests.measure.known_playing import Known, fingering_truths, play_known, truths

RUNS, MORE = 1000, 3
LOW, HIGH = 0.93, 0.97


@dataclass(frozen=True)
class Scenario:
    """What is put in, and the truths looked for (all of `truths`, or those named)."""

    name: str
    known: Known
    looked_for: dict[str, float]


@dataclass
class Row:
    """Running sums for one estimate of one scenario."""

    scenario: str
    name: str
    truth: float
    told: int = 0
    covered: int = 0
    total: float = 0.0
    squares: float = 0.0
    half_widths: float = 0.0

    def add(self, estimate: Estimate) -> None:
        if estimate.value is None or estimate.low is None or estimate.high is None:
            return
        self.told += 1
        self.covered += estimate.low <= self.truth <= estimate.high
        self.total += estimate.value
        self.squares += estimate.value**2
        self.half_widths += (estimate.high - estimate.low) / 2

    @property
    def mean(self) -> float:
        return self.total / max(self.told, 1)

    @property
    def coverage(self) -> float:
        return self.covered / max(self.told, 1)

    @property
    def at_bound(self) -> bool:
        """A share of nought: no estimate can lie below it, so that it is high on average."""
        return self.truth == 0.0 and self.name.endswith("share")

    @property
    def allowed_bias(self) -> float:
        n = max(self.told, 1)
        if self.at_bound:
            return self.half_widths / n
        sd = math.sqrt(max(self.squares / n - self.mean**2, 0.0))
        return 0.1 * self.half_widths / n + 3 * sd / math.sqrt(n)

    @property
    def sound(self) -> bool:
        covers = LOW <= self.coverage <= (1.0 if self.at_bound else HIGH)
        return covers and abs(self.mean - self.truth) <= self.allowed_bias


def scenarios() -> Iterator[Scenario]:
    """The textures measured; each looks for what it has something to say of."""
    usual = Known()
    yield Scenario("usual", usual, truths(usual))
    small = replace(usual, bars=16, jitter=9.0)
    # So few octaves do not tell their own slope, and a published one has no interval.
    slopeless = {"lead.residual_ms", "lead.loudness_part_ms", "octaves.residual_ms"}
    told = {k: v for k, v in truths(small).items() if k not in slopeless}
    yield Scenario("16 bars, jitter 9", small, told)
    drifting = replace(usual, drift=4.0)
    every = truths(drifting)
    yield Scenario("drift 4 %/min", drifting, {k: v for k, v in every.items() if "evenness" in k})
    slow = replace(usual, interval=400.0, jitter=14.0, habit=(0, 6, -4, 8, 0, -10, 3, -3))
    yield Scenario(
        "400 ms a note", slow, {k: v for k, v in truths(slow).items() if "evenness" in k}
    )
    for keeper, finger in ((5.0, 3.0), (10.0, 6.0), (4.0, 8.0)):
        yield Scenario(
            f"timekeeper {keeper:g}, finger {finger:g}",
            replace(usual, jitter=0.0, timekeeper=keeper, finger=finger),
            {
                "evenness.timekeeper_sd_ms": keeper,
                "evenness.finger_sd_ms": finger,
                "evenness.places.3.deviation_ms": 10.875,
                "evenness.places.6.deviation_ms": -1.125,
            },
        )
    waving = replace(usual, rubato=(0.04, 4.0))
    steady = ("sd_ms", "robust_sd_ms", "median_sd_ioi_ms", "audible_share", "places")
    yield Scenario(
        "rubato of 4 % in waves of four bars",
        waving,
        {k: v for k, v in truths(usual).items() if k.split(".")[1].endswith(steady)
         and k.startswith("evenness")},
    )  # fmt: skip
    for turn, how in ((12, "by turns of four bars"), (3, "in every third bar")):
        fingered = replace(
            usual, other_habit=(0, -8, 0, 4, 0, 14, 0, -2), other_jitter=12.0, turn=turn
        )
        yield Scenario(f"a second fingering {how}", fingered, fingering_truths(fingered))
    yield _click()
    yield Scenario("97 % right", replace(usual, right=0.97), {"notes.right_share": 0.97})
    yield Scenario(
        "tempo of each bar off by 3 %", replace(usual, bar_tempo_sd=0.03),
        {"timing.tempo_qpm": 200.0, "timing.mark_share": 1.0},
    )  # fmt: skip
    yield _held()


def _click() -> Scenario:
    """Ahead of the click by 15 ms, with a trend of 20 ms a minute; the line with the figure."""
    known = Known(
        habit=(0.0,) * 8, jitter=0.0, click=-15.0, click_sd=12.0, click_drift=20.0,
        lead=0.0, lead_sd=0.0, slope=0.0, split=0.0, together_sd=0.0,
        pulse=Pulse("strict", 1.0, 0.0, 1.0),
    )  # fmt: skip
    middle = 20.0 * (known.bars * 8 - 1) * known.interval / 60000.0 / 2
    looked_for = {
        "timing.asynchrony_ms": -15.0 + middle,
        "timing.asynchrony_drift_ms_per_minute": 20.0,
    }
    return Scenario("ahead of the click", known, looked_for)


def _held() -> Scenario:
    """Share of the marked time that the damper is down: up for catch minus lift at each change."""
    known = Known()
    up, each = (known.catch[0] - known.lift[0]) / 1000.0, 16 * known.interval / 1000.0
    changes = known.bars // 2 - 1
    # The first marked pedal begins with the pedal up.
    share = 1.0 - (up * changes + known.catch[0] / 1000.0) / (each * (changes + 1))
    return Scenario("pedal", known, {"pedal.down_share": share})


def value_of(measures: Measures, name: str) -> Estimate:
    """The estimate at "measure.field" or "measure.places.3.deviation_ms"."""
    found: Any = measures
    for part in name.split("."):
        if isinstance(found, Estimate):
            return found
        found = found[int(part)] if part.isdigit() else getattr(found, part)
    assert isinstance(found, Estimate), name
    return found


def measure_run(scenario: Scenario, seed: int) -> Measures:
    """One playing, measured."""
    played = play_known(scenario.known, seed)
    return measure(
        played.arrangement, played.notes, played.pedals, played.findings,
        span=whole_span(played.arrangement), hands="both", pulse=played.pulse,
    )  # fmt: skip


def run_scenario(
    scenario: Scenario, seeds: Sequence[int], progress: Callable[[int], None] = lambda k: None
) -> list[Row]:
    """All rows of one scenario over the seeds."""
    rows = [Row(scenario.name, name, truth) for name, truth in scenario.looked_for.items()]
    for seed in seeds:
        measures = measure_run(scenario, seed)
        for row in rows:
            row.add(value_of(measures, row.name))
        progress(seed)
    return rows


def table(rows: list[Row], runs: int) -> str:
    """The rows as text."""
    head = f"{'estimate':44}{'truth':>10}{'mean':>10}{'may be off':>12}{'told':>7}{'covered':>9}"
    lines = []
    for k, row in enumerate(rows):
        if k == 0 or rows[k - 1].scenario != row.scenario:
            lines += ["", f"{row.scenario} ({runs} runs)", head]
        lines.append(
            f"{row.name:44}{row.truth:10.4f}{row.mean:10.4f}{row.allowed_bias:12.4f}"
            f"{row.told:7d}{row.coverage:9.3f}{'' if row.sound else '  *'}"
        )
    return "\n".join(lines)


def main(argv: list[str]) -> int:
    """Print the table; exit 1 if a row is unsound twice over."""
    runs = int(argv[0]) if argv else RUNS
    print(f"{datetime.now(UTC):%Y-%m-%d}, Python {platform.python_version()}, numpy "
          f"{np.__version__}: how often the 95 % interval holds the truth")  # fmt: skip
    every: list[Row] = []
    again: list[Row] = []
    for scenario in scenarios():
        rows = run_scenario(scenario, range(runs))
        every += rows
        print(table(rows, runs), flush=True)
        doubtful = {row.name: row.truth for row in rows if not row.sound}
        if doubtful:
            other = replace(scenario, looked_for=doubtful, name=f"again: {scenario.name}")
            again += run_scenario(other, range(runs, (1 + MORE) * runs))
    print(f"\n{len(every)} rows, {len(again)} outside 93 to 97 % or off on average (marked *)")
    print(f"pooled coverage {np.mean([r.coverage for r in every]):.4f}")
    print(table(again, MORE * runs))
    return int(not all(row.sound for row in again))


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
