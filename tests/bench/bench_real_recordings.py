"""The measures of real recordings beside published and counted values for skilled players.

Run as `python -m tests.bench.bench_real_recordings`. Findings come from the recordings' own truth
tables and the figures are read off the page by the rule given here (voice, step, places), so that
neither the follower nor the finder of figures has a part in it. The right-hand column of each
table is what others measured (sources in `engine.measure.yardsticks` and below).
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from engine.arrangement import Arrangement, Figure, Hand, whole_span
from engine.findings import Estimate
from engine.measure import Measures, measure
from engine.measure.evenness import Evenness
from engine.measure.octaves import Octaves
from engine.measure.pedal import Pedal
from engine.measure.yardsticks import SCALE_STUDIES_SD_MS, band_for
from engine.performance import Pulse
from tests.conftest import data_sets_folder
from tests.measure.labelled_takes import LabelledTake, read_labelled


@dataclass(frozen=True)
class Grid:
    """A figure read off the page: the lowest note at each step of these voices.

    voices: (hand, voice) pairs. step_q: from note to note. places: notes in a cell; the cell's
    length is step_q * places unless `cell_q` says otherwise.
    """

    voices: tuple[tuple[Hand, str], ...]
    step_q: Fraction
    places: int
    cell_q: Fraction | None = None


FIGURES = {
    "chopin-op57": Grid((("left", "5"),), Fraction(1, 2), 5, Fraction(3)),
    "chopin-op25-1": Grid((("left", "5"),), Fraction(1, 6), 6),
    "schubert-d899-3": Grid((("right", "1"), ("right", "2")), Fraction(1, 3), 6),
    "beethoven-8-2": Grid((("right", "2"),), Fraction(1, 4), 4),
    "bach-bwv846": Grid((("left", "5"), ("left", "6"), ("right", "1")), Fraction(1, 4), 8),
}

#: Counted in (n)ASAP and Vienna 4x22 for this project: octaves of the right hand at 150 to 300 ms.
OCTAVES_ELSEWHERE = "|split| 5.2 (2 to 12), slope 0.77, upper louder by 6"
#: The same sources: legato pedal changes.
PEDAL_ELSEWHERE = "down 65 % (35 to 80), lifted +44 (-4 to 103), caught +198 (122 to 320)"

REMARKS = {
    "op. 57": """
        Slower than anything counted, an Andante whose figure breathes with the line; its CV (0.16
        to 0.20) is at the edge of the freer quarter of quicker figures.""",
    "op. 25 no. 1": """
        Far freer than the repertoire's middle half, and past its 95th percentile (CV 0.36): the
        first note of the six, under each melody note, is held for 120 to 140 ms and varies by
        80 to 90 ms; the other five last 85 to 105 and vary by 20 to 40. In the second recording
        one note in six of the left hand (a key struck twice within a quarter of a second) is
        often missing, so that few whole cells are left.""",
    "D 899 no. 3": """
        Above the middle half (14 to 32 ms) and within the 95th percentile (54): again the first of
        the six, on the melody note, is held (186 against 120 to 146 ms).""",
    "8-2": """
        An Adagio, slower than anything counted; its CV (0.09) is in the steadier quarter.""",
    "BWV 846": """
        Steadier than three quarters of what was counted (SD of 16: 14 ms against 19): no melody
        stretches it, and most of its variance is slow movement of the tempo.""",
    "octaves": """
        Op. 25 no. 10 agrees with what was counted (it comes from the same collection, so that it
        should). In 8-2 the octaves are slow, where the count too finds 10 ms and more, and
        steeper in loudness (1.2 against 0.77).""",
    "pedal": """
        Lifts agree with what was counted but for BWV 846 and D 899 no. 3, whose players lift 150
        to 250 ms after the bass. In 8-2 and BWV 846 the pedal comes down on a slow ramp, so that it
        passes 64 late. Lifts inside one harmony, counted as leaks, are these players' usual way of
        clearing a melody: they are faults only where one pedal was meant, as in a drone.""",
}


def figure_on_grid(arrangement: Arrangement, grid: Grid) -> Figure:
    """The whole cells of a grid, from each bar's beginning on."""
    by_onset: dict[Fraction, int] = {}
    for i, note in enumerate(arrangement.notes):
        if (note.hand, note.voice) in grid.voices and not note.grace:
            old = by_onset.get(note.onset_q)
            if old is None or note.pitch < arrangement.notes[old].pitch:
                by_onset[note.onset_q] = i
    cell_q = grid.cell_q or grid.step_q * grid.places
    cells = []
    for bar in arrangement.bars:
        at = bar.onset_q
        while at < bar.onset_q + bar.duration_q:
            cell = [by_onset.get(at + k * grid.step_q) for k in range(grid.places)]
            if None not in cell and _only_these(by_onset, at, cell_q, grid):
                cells.append(tuple(i for i in cell if i is not None))
            at += cell_q
    return Figure(grid.voices[0][0], cell_q, grid.places, tuple(cells))


def _only_these(by_onset: dict[Fraction, int], at: Fraction, cell_q: Fraction, grid: Grid) -> bool:
    inside = sum(1 for q in by_onset if at <= q < at + cell_q)
    return inside == grid.places


def takes(folder: Path) -> Iterator[LabelledTake]:
    """Every straight recording there is."""
    for truth in sorted(folder.glob("*/p*.truth.tsv")):
        yield read_labelled(truth.parent, truth.name.removesuffix(".truth.tsv"))


def measured(take: LabelledTake) -> Measures:
    """All measures, with the figure of the table above."""
    arrangement = take.arrangement
    grid = FIGURES.get(take.name.split()[0])
    if grid is not None:
        form = replace(arrangement.form, figures=(figure_on_grid(arrangement, grid),))
        arrangement = replace(arrangement, form=form)
    return measure(
        arrangement, take.recording.notes, take.recording.pedals, take.findings,
        span=whole_span(arrangement), hands="both", pulse=Pulse(),
    )  # fmt: skip


def shown(estimate: Estimate, digits: int = 1) -> str:
    """value (low to high), or a dash."""
    if estimate.value is None or estimate.low is None or estimate.high is None:
        return "-"
    return f"{estimate.value:.{digits}f} ({estimate.low:.{digits}f} to {estimate.high:.{digits}f})"


def evenness_table(found: Iterable[tuple[str, Measures]]) -> str:
    """One line a take: how even the figure, and what the repertoire does at this speed."""
    head = (
        f"{'evenness':20}{'cells':>10}{'ms/note':>9}  {'SD ms':22}{'CV of intervals':24}"
        f"{'SD of 16':21}{'habit':7}{'drift':7}{'rest':7}others"
    )
    rows = [head]
    for name, measures in found:
        e = measures.evenness
        if name.split()[0] not in FIGURES or not isinstance(e, Evenness):
            continue
        rows.append(
            f"{name:20}{f'{e.cells}+{e.excluded_cells}':>10}{e.note_interval_ms:9.0f}  "
            f"{shown(e.sd_ms):22}{shown(e.cv, 3):24}{shown(e.window_sd_ms):21}"
            f"{_share(e.place_share):7}{_share(e.drift_share):7}{_share(e.rest_share):7}"
            f"{_others(e.note_interval_ms)}"
        )
    low, high = SCALE_STUDIES_SD_MS
    rows.append(f"scales of professionals at 125 ms a note: SD of intervals {low:g} to {high:g} ms "
                "(from memory; a scale is no figure)")  # fmt: skip
    return "\n".join(rows)


def _share(estimate: Estimate) -> str:
    return "-" if estimate.value is None else f"{100 * estimate.value:.0f} %"


def _others(interval_ms: float) -> str:
    band = band_for(interval_ms)
    if band is None:
        return "nothing counted at this speed"
    return f"SD of 16: {band.sd_ms[1]:g} to {band.sd_ms[3]:g}, median {band.sd_ms[2]:g} ms"


def octaves_table(found: Iterable[tuple[str, Measures]]) -> str:
    """One line a take with enough octaves to tell a slope."""
    rows = [
        f"{'octaves':20}{'n':>6}  {'|split| median ms':22}{'95 % ms':22}{'ms per velocity':24}"
        f"{'|rest| median ms':20}{'upper louder':20}others: {OCTAVES_ELSEWHERE}"
    ]
    for name, measures in found:
        o = measures.octaves
        if isinstance(o, Octaves) and o.octaves >= 50:
            rows.append(
                f"{name:20}{o.octaves:6d}  {shown(o.median_abs_split_ms):22}"
                f"{shown(o.p95_abs_split_ms):22}{shown(o.ms_per_velocity, 2):24}"
                f"{shown(o.median_abs_residual_ms):20}{shown(o.level_velocity):20}"
            )
    return "\n".join(rows)


def pedal_table(found: Iterable[tuple[str, Measures]]) -> str:
    """One line a take."""
    rows = [
        f"{'pedal':20}{'down':24}{'lifted ms':24}{'caught ms':24}{'clean':>12}{'leaks':>7}  "
        f"{'old under new dB':20}others: {PEDAL_ELSEWHERE}"
    ]
    for name, measures in found:
        p = measures.pedal
        if isinstance(p, Pedal):
            clean = sum(c.kind == "clean" for c in p.changes)
            rows.append(
                f"{name:20}{shown(p.down_share, 3):24}{shown(p.median_lift_ms, 0):24}"
                f"{shown(p.median_catch_ms, 0):24}{f'{clean} of {len(p.changes)}':>12}"
                f"{len(p.leaks):7d}  {shown(p.old_under_new_db):20}"
            )
    return "\n".join(rows)


def main() -> int:
    """Print the three tables and the remarks; 1 where there are no recordings."""
    folder = data_sets_folder()
    if folder is None:
        print("no folder of recordings: set UNDERSONG_DATA_SETS", file=sys.stderr)
        return 1
    found = [(take.name, measured(take)) for take in takes(folder)]
    for table in (evenness_table, octaves_table, pedal_table):
        print(table(found), end="\n\n")
    for name, remark in REMARKS.items():
        print(f"{name}: {' '.join(remark.split())}")
    return 0


if __name__ == "__main__":
    np.seterr(all="ignore")
    raise SystemExit(main())
