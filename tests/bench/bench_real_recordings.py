"""The measures of real recordings beside published and counted values for skilled players.

Run as `python -m tests.bench.bench_real_recordings [FILE.md]`. Findings come from the recordings'
own truth tables and the figures are read off the page by the rule given here (voice, step,
places), so that neither the follower nor the finder of figures has a part in it. The first row of
each table is what others measured (sources in `engine.measure.yardsticks` and below); a figure
outside its middle half is marked, and each piece so marked has a sentence (`REMARKS`): without one
the command fails.
"""

from __future__ import annotations

import platform
import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path

import numpy as np

from engine.arrangement import Arrangement, Figure, Hand, whole_span
from engine.findings import Estimate
from engine.measure import Measures, measure
from engine.measure.evenness import Evenness
from engine.measure.octaves import Octaves
from engine.measure.pedal import Pedal
from engine.measure.yardsticks import band_for
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

#: Middle halves of skilled players, each value's own count: (n)ASAP and Vienna 4x22, counted for
#: this project. Octaves: performances with at least 20 of the right hand, n = 350; the slope over
#: 48,510 octaves. Pedal: 57,286 changes; time down per performance.
SPLIT_MS, LEVEL, PUBLISHED_SLOPE = (4.0, 9.0), (2.0, 11.0), 0.77
DOWN, LIFT_MS, CATCH_MS = (0.35, 0.80), (-4.0, 103.0), (122.0, 320.0)

#: SD of intervals of healthy professionals' scales at about eight notes a second: Jabusch, Vauth &
#: Altenmueller 2004, Mov Disord 19:171-180, and Jabusch et al. 2009, Hum Mov Sci 28:74-84. From
#: memory.
SCALE_STUDIES_SD_MS = (7.0, 11.0)

EVENNESS_HEAD = ("recording", "cells (left out)", "ms a note", "SD, ms", "CV of intervals",
                 "SD of 16, ms", "others' SD of 16, ms", "habit / drift / rest")  # fmt: skip
OCTAVES_HEAD = ("recording", "n", "median split either way, ms", "95 %, ms",
                "ms per step of velocity", "left without loudness, ms", "upper louder, steps",
                )  # fmt: skip
PEDAL_HEAD = ("recording", "down, share", "lifted, ms", "caught, ms", "clean changes", "leaks",
              "old under new, dB")  # fmt: skip

#: For each table, a sentence on every piece with a figure outside the middle half.
REMARKS = {
    "evenness": {
        "chopin-op25-1": """
            Op. 25 no. 1: the first note of the six, under each melody note, is held for 120 to
            140 ms and varies by 80 to 90; the other five last 85 to 105 and vary by 20 to 40. In
            the second recording one note in six of the left hand (a key struck twice within a
            quarter of a second) is often missing, so that few whole cells are left.""",
        "schubert-d899-3": """
            D 899 no. 3: again the first of the six, on the melody note, is held (186 against 120
            to 146 ms); still within the 95th percentile (54 ms).""",
        "bach-bwv846": """
            BWV 846: steadier than three quarters of what was counted, for no melody stretches it;
            most of its variance is slow movement of the tempo.""",
        "chopin-op57": """
            Op. 57: slower than anything counted, an Andante whose figure breathes with the
            line.""",
        "beethoven-8-2": """
            8-2: an Adagio, slower than anything counted.""",
    },
    "octaves": {
        "beethoven-8-2": """
            8-2: its octaves are slow, where the count too finds 10 ms and more at median, and they
            are voiced more strongly; without loudness 5 ms are left.""",
        "chopin-op25-10": """
            Op. 25 no. 10: the first recording is inside on every count; the second is split a
            little more, and loudness explains about half of that.""",
    },
    "pedal": {
        "bach-bwv846": """
            BWV 846: lifted a quarter of a second after each new bass and caught on a slow ramp,
            which passes 64 late; the old harmony is then some 18 dB under the new.""",
        "beethoven-8-2": """
            8-2: lifted as others do; the pedal comes down on a slow ramp and passes 64 late.""",
        "chopin-op10-3": """
            Op. 10 no. 3: nine changes at most in the excerpt, so that the intervals are wide; the
            fifth player hardly pedals.""",
        "chopin-op25-1": """
            Op. 25 no. 1: down nearly all the time and caught early, for there is a change to make
            about every second.""",
        "chopin-op25-10": """
            Op. 25 no. 10: down for more of the time than most; lifts and catches are inside.""",
        "chopin-op57": """
            Op. 57: one harmony under nearly all of it, so that the pedal is down for 93 % of the
            time; eight changes say little of lifts and catches (see their intervals).""",
        "mozart-k331": """
            K. 331: sparing pedal, down for less than half of the time with three of six players,
            lifted with the bass or just before it and caught a little late.""",
        "schubert-d899-3": """
            D 899 no. 3: lifted 150 to 200 ms after the bass, while the figure goes on under the
            old pedal; the old harmony is 30 dB and more under the new.""",
    },
}
#: On a table as a whole.
GENERAL = {
    "evenness": f"""
        Beside these, and only as what they are: scales of professionals at 125 ms a note, SD of
        intervals {SCALE_STUDIES_SD_MS[0]:g} to {SCALE_STUDIES_SD_MS[1]:g} ms (from memory; a scale
        is no figure).""",
    "octaves": "",
    "pedal": """
        Lifts inside one harmony, counted as leaks, are these players' usual way of clearing a
        melody: they are faults only where one pedal was meant, as in a drone.""",
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


def shown(estimate: Estimate, digits: int = 1, half: tuple[float, float] | None = None) -> str:
    """value (low to high), with a mark where the value lies outside a middle half; or a dash."""
    if estimate.value is None or estimate.low is None or estimate.high is None:
        return "-"
    mark = ""
    if half is not None:
        mark = (
            " below" if estimate.value < half[0] else " above" if estimate.value > half[1] else ""
        )
    ends = f"{estimate.low:.{digits}f} to {estimate.high:.{digits}f}"
    return f"{estimate.value:.{digits}f} ({ends}){mark}"


def evenness_row(name: str, measures: Measures) -> list[str] | None:
    """How even the figure, and what the repertoire does at this speed."""
    e = measures.evenness
    if name.split()[0] not in FIGURES or not isinstance(e, Evenness):
        return None
    band = band_for(e.note_interval_ms)
    sd, cv = (None, None) if band is None else (band.sd_ms[1:4:2], band.cv[1:4:2])
    shares = " / ".join(_share(s) for s in (e.place_share, e.drift_share, e.rest_share))
    return [
        name, f"{e.cells} ({e.excluded_cells})", f"{e.note_interval_ms:.0f}", shown(e.sd_ms),
        shown(e.cv, 3, cv), shown(e.window_sd_ms, 1, sd),
        "not counted so slow" if sd is None else f"{sd[0]:g} to {sd[1]:g}", shares,
    ]  # fmt: skip


def _share(estimate: Estimate) -> str:
    return "-" if estimate.value is None else f"{100 * estimate.value:.0f} %"


def octaves_row(name: str, measures: Measures) -> list[str] | None:
    """Where there are enough octaves to tell a slope."""
    o = measures.octaves
    if not isinstance(o, Octaves) or o.octaves < 50:
        return None
    return [
        name, str(o.octaves), shown(o.median_abs_split_ms, 1, SPLIT_MS), shown(o.p95_abs_split_ms),
        shown(o.ms_per_velocity, 2), shown(o.median_abs_residual_ms),
        shown(o.level_velocity, 1, LEVEL),
    ]  # fmt: skip


def pedal_row(name: str, measures: Measures) -> list[str] | None:
    """The damper of every recording that has one."""
    p = measures.pedal
    if not isinstance(p, Pedal):
        return None
    clean = sum(c.kind == "clean" for c in p.changes)
    return [
        name, shown(p.down_share, 2, DOWN), shown(p.median_lift_ms, 0, LIFT_MS),
        shown(p.median_catch_ms, 0, CATCH_MS), f"{clean} of {len(p.changes)}", str(len(p.leaks)),
        shown(p.old_under_new_db),
    ]  # fmt: skip


def _ends(half: tuple[float, float], digits: int = 0) -> str:
    return f"{half[0]:.{digits}f} to {half[1]:.{digits}f}"


Row = Callable[[str, Measures], "list[str] | None"]
TABLES: dict[str, tuple[Sequence[str], list[str] | None, Row]] = {
    "evenness": (EVENNESS_HEAD, None, evenness_row),
    "octaves": (
        OCTAVES_HEAD,
        [
            "half of skilled players",
            "",
            _ends(SPLIT_MS),
            "",
            f"{PUBLISHED_SLOPE}",
            "",
            _ends(LEVEL),
        ],
        octaves_row,
    ),
    "pedal": (
        PEDAL_HEAD,
        ["half of skilled players", _ends(DOWN, 2), _ends(LIFT_MS), _ends(CATCH_MS), "", "", ""],
        pedal_row,
    ),
}


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table in Markdown, its columns of one width."""
    whole = [head, *rows]
    widths = [max(len(row[k]) for row in whole) for k in range(len(head))]
    lines = [
        "| " + " | ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)) + " |"
        for row in whole
    ]
    lines.insert(1, "|" + "|".join("-" * (w + 2) for w in widths) + "|")
    return "\n".join(lines)


def folded(text: str, bullet: str = "") -> str:
    """A sentence in lines of a hundred."""
    return textwrap.fill(
        " ".join(text.split()), 100, initial_indent=bullet, subsequent_indent=" " * len(bullet)
    )


def unexplained(name: str, rows: Sequence[Sequence[str]]) -> list[str]:
    """Pieces with a figure outside its middle half, or with nothing to set it beside, that have
    no sentence."""
    marks = (" below", " above", "not counted")
    pieces = {r[0].split()[0] for r in rows if any(m in cell for cell in r for m in marks)}
    return sorted(pieces - set(REMARKS[name]))


def report(found: Sequence[tuple[str, Measures]]) -> tuple[str, list[str]]:
    """The tables with their sentences, and the pieces that lack one."""
    parts, lacking = [], []
    for name, (head, others, make) in TABLES.items():
        rows = [row for row in (make(*one) for one in found) if row is not None]
        lacking += [f"{name}: {piece}" for piece in unexplained(name, rows)]
        parts.append(f"## {name.capitalize()}")
        parts.append(table(head, [others, *rows] if others else rows))
        there = {row[0].split()[0] for row in rows}
        said = [text for piece, text in REMARKS[name].items() if piece in there]
        parts.append("\n".join(folded(sentence, "- ") for sentence in said))
        if GENERAL[name]:
            parts.append(folded(GENERAL[name]))
    return "\n\n".join(parts) + "\n", lacking


INTRODUCTION = """# Real recordings beside skilled players

Written by `python -m tests.bench.bench_real_recordings FILE` ({when}, Python {python}, numpy
{numpy}). Recordings: Vienna 4x22 (op. 10 no. 3, K. 331) and (n)ASAP (the rest), with the truth of
which note is which. Each figure has its 95 % interval in brackets. "above" and "below" are outside
the middle half of what was counted for this project in (n)ASAP and Vienna 4x22, advanced players in
expressive performance: that is a difference, not a fault.
"""


def main(argv: Sequence[str]) -> int:
    """Print the tables, or write them; 1 where there are no recordings, or a sentence lacks."""
    folder = data_sets_folder()
    if folder is None:
        print("no folder of recordings: set UNDERSONG_DATA_SETS", file=sys.stderr)
        return 1
    text, lacking = report([(take.name, measured(take)) for take in takes(folder)])
    when, python = f"{datetime.now(UTC):%Y-%m-%d}", platform.python_version()
    text = INTRODUCTION.format(when=when, python=python, numpy=np.__version__) + "\n" + text
    if argv:
        Path(argv[0]).write_text(text, encoding="utf-8")
    else:
        print(text)
    for piece in lacking:
        print(f"no sentence on {piece}", file=sys.stderr)
    return int(bool(lacking))


if __name__ == "__main__":
    np.seterr(all="ignore")
    raise SystemExit(main(sys.argv[1:]))
