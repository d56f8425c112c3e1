"""Smear: notes of the line piling up under a long pedal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from engine.findings import Estimate, no_estimate
from engine.measure import interval
from engine.measure.harmony_times import Region
from engine.measure.heard import Heard, Indices
from engine.measure.ringing import Ringing, together_db, under_db
from engine.measure.tempo import Moments

#: Earlier line notes this far under the new one or louder, and so many of them, are a smear.
SMEAR_DB, SMEAR_NOTES = 6.0, 2
#: A line note counts as still there down to this far under the new one.
STILL_THERE_DB = 20.0
#: How far back it is worth looking, seconds.
_BACK_S = 12.0


@dataclass(frozen=True, slots=True)
class Smear:
    """A line note under which earlier ones pile up: how many, and their level under it.

    The ear would have wanted a half change before it.
    """

    bar: str
    bar_time: int
    beat: float
    notes: int
    under_db: float


def find_smears(
    heard: Heard, moments: Moments, regions: Sequence[Region], ringing: Ringing
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
    places, levels = [], []
    for row in line:
        under, count = _pile(heard, int(row), tune, regions, ringing)
        levels.append(under)
        if under < SMEAR_DB and count >= SMEAR_NOTES:
            note = heard.arrangement.notes[int(heard.score[row])]
            bar = heard.arrangement.bars[note.bar]
            beat = float(bar.beat_at(note.onset_q))
            places.append(Smear(bar.number, bar.time, beat, count, under))
    return tuple(places), interval.median_of(levels, "db", "line notes")


def _pile(
    heard: Heard,
    row: int,
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
    at = now + 0.02
    levels = ringing.levels_db(clashing, at)
    fresh = float(ringing.levels_db(np.array([new]), at)[0])
    return under_db(together_db(levels), fresh), int((levels > fresh - STILL_THERE_DB).sum())
