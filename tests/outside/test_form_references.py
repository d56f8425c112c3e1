"""Sections and twins against written repeats: a repeat written out must be found as a twin.

Piano scores of music21's corpus with repeat signs are unfolded and then forgotten to be so: every
bar counts as written once, and no sign is left. What the signs had said must be found again.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import music21
import pytest

from engine.arrangement import Arrangement
from engine.form.sections import find_sections
from engine.form.twins import find_twins
from engine.read import read_arrangement

WORKS = (
    "joplin/maple_leaf_rag.mxl",
    "schumann_clara/polonaise_op1n1.mxl",
    "schumann_clara/polonaise_op1n2.mxl",
    "schumann_clara/polonaise_op1n3.mxl",
    "schumann_clara/polonaise_op1n4.mxl",
    "bach/bwv846.mxl",
)


@cache
def read_work(work: str) -> Arrangement:
    return read_arrangement(Path(music21.common.getCorpusFilePath()) / work)


def written_out(arrangement: Arrangement) -> Arrangement:
    """The same music on a page without repeats, jumps or marks."""
    bars = tuple(replace(b, written=b.index, time=1, number=str(b.index + 1))
                 for b in arrangement.bars)  # fmt: skip
    notes = tuple(replace(n, time=1, note_id=f"{n.note_id}-{n.time}") for n in arrangement.notes)
    return replace(arrangement, bars=bars, notes=notes, marks=(), form=type(arrangement.form)())


def repeats(arrangement: Arrangement) -> list[tuple[int, int, int]]:
    """(bar where a stretch begins, where it begins again, how many bars it has) from the signs."""
    bars = arrangement.bars
    out = []
    for a, b in pairwise(bars):
        if b.written <= a.written:
            first = next(x.index for x in bars if x.written == b.written)
            length = 0
            while (
                b.index + length < len(bars)
                and bars[b.index + length].written == bars[first + length].written
            ):
                length += 1
            out.append((first, b.index, length))
    return out


@pytest.mark.parametrize("work", WORKS)
def test_a_repeat_written_out_is_found_as_a_twin(work: str) -> None:
    arrangement = read_work(work)
    page = written_out(arrangement)
    twins = find_twins(page, page.form.figures)
    for first, again, length in repeats(arrangement):
        start, second = page.bars[first], page.bars[again]
        lag = second.onset_q - start.onset_q
        wanted = sum(b.duration_q for b in page.bars[first : first + length])
        found = [
            t
            for t in twins
            if t.second_q - t.first_q == lag
            and t.first_q <= start.onset_q
            and t.parting[0] >= start.onset_q + wanted
        ]
        assert found, f"bars {first}-{first + length} again at {again}"


@pytest.mark.parametrize("work", WORKS)
def test_where_a_repeat_begins_a_section_begins(work: str) -> None:
    """Two in three of the repeats' edges, to a bar: phrases shorter than four bars have none."""
    arrangement = read_work(work)
    starts = {s.from_bar for s in find_sections(written_out(arrangement))}
    edges = {bar for first, again, _ in repeats(arrangement) for bar in (first, again)}
    found = sum(any(abs(edge - start) <= 1 for start in starts) for edge in edges)
    assert not edges or found / len(edges) >= 2 / 3, f"{found} of {len(edges)}"
