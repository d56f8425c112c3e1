"""Smear: notes of the line piling up under a long pedal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from engine.findings import Estimate, no_estimate
from engine.measure import interval
from engine.measure.harmony_times import Region
from engine.measure.heard import Heard, Indices
from engine.measure.ringing import Ringing, together_db, under_db

#: Earlier line notes this far under the new one or louder, and so many of them, are a smear.
SMEAR_DB, SMEAR_NOTES = 6.0, 2
#: A line note counts as still there down to this far under the new one.
STILL_THERE_DB = 20.0
#: Read so long after the onset, so that a pedal changed with the note counts as changed, but
#: before this share of the time to the next line note.
READ_AFTER_S, READ_BEFORE = 0.15, 0.6
#: How far back it is worth looking, seconds.
_BACK_S = 12.0


@dataclass(frozen=True, slots=True)
class Smear:
    """A stretch of the line under which earlier notes pile up; the ear wanted a half change.

    Attributes:
        bar, bar_time, beat: where it begins. line_notes: how many line notes it covers.
        notes: most earlier notes still there at once. under_db: their level under the new note, at
            worst.
    """

    bar: str
    bar_time: int
    beat: float
    line_notes: int
    notes: int
    under_db: float


def find_smears(
    heard: Heard, regions: Sequence[Region], ringing: Ringing
) -> tuple[tuple[Smear, ...], Estimate]:
    """Smeared places, and the median level of earlier line notes under each new one.

    Counted are earlier line notes still ringing that a listener hears as clashing: those within
    a whole tone of the new note, or foreign to the harmony.
    """
    line = heard.rows(np.array(sorted(heard.arrangement.form.line), dtype=np.intp))
    line = np.unique(line[line >= 0])
    if len(line) < 6:
        return (), no_estimate("no line was found, or too little of it was heard", "db", len(line))
    own = {*heard.arrangement.form.line}
    own |= {i for pair in heard.arrangement.form.doublings for i in pair}
    tune = heard.rows(np.array(sorted(own), dtype=np.intp))
    tune = heard.played[np.unique(tune[tune >= 0])]
    onset_s = heard.onset_s[line]
    read_s = onset_s + np.minimum(READ_AFTER_S, READ_BEFORE * np.diff(onset_s, append=np.inf))
    piles = [
        _pile(heard, int(row), float(at), tune, regions, ringing)
        for row, at in zip(line, read_s, strict=True)
    ]
    smeared = [under < SMEAR_DB and count >= SMEAR_NOTES for under, count in piles]
    found = interval.median_of([under for under, _ in piles], "db", "line notes")
    return tuple(_merged(heard, line, piles, smeared)), found


def _merged(
    heard: Heard, line: Indices, piles: Sequence[tuple[float, int]], smeared: Sequence[bool]
) -> list[Smear]:
    """Neighbouring smeared notes as one stretch."""
    out = []
    for is_smear, part in groupby(range(len(line)), key=lambda i: smeared[i]):
        if not is_smear:
            continue
        at = list(part)
        note = heard.arrangement.notes[int(heard.score[line[at[0]]])]
        bar = heard.arrangement.bars[note.bar]
        beat = float(bar.beat_at(note.onset_q))
        most, worst = max(piles[i][1] for i in at), min(piles[i][0] for i in at)
        out.append(Smear(bar.number, bar.time, beat, len(at), most, worst))
    return out


def _pile(
    heard: Heard,
    row: int,
    at: float,
    tune: Indices,
    regions: Sequence[Region],
    ringing: Ringing,
) -> tuple[float, int]:
    """(level of the clashing earlier line notes under this one, how many still count)."""
    now, new = float(heard.onset_s[row]), int(heard.played[row])
    pitch = ringing.pitch[new]
    earlier = tune[(ringing.onset_s[tune] < now - 0.05) & (ringing.onset_s[tune] > now - _BACK_S)]
    away = np.abs(ringing.pitch[earlier] - pitch)
    classes = next((r.classes for r in regions if r.from_s <= now < r.to_s), frozenset())
    foreign = np.array([bool(classes) and int(p) % 12 not in classes
                        for p in ringing.pitch[earlier]], dtype=bool)  # fmt: skip
    clashing = earlier[((away > 0) & (away <= 2)) | (foreign & (away % 12 != 0))]
    levels = ringing.levels_db(clashing, at)
    fresh = float(ringing.levels_db(np.array([new]), at)[0])
    return under_db(together_db(levels), fresh), int((levels > fresh - STILL_THERE_DB).sum())
