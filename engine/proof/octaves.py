"""Line notes that lack their octave, or have another interval, where all around have it."""

from __future__ import annotations

from collections.abc import Iterator

from engine.arrangement import Arrangement, ScoreNote
from engine.form.fifths import interval_between
from engine.pitch_names import printed
from engine.proof.remark import Remark, remark_on

#: So many line notes before and after must be doubled before one alone looks forgotten.
AROUND = 4


def octave_remarks(arrangement: Arrangement) -> Iterator[Remark]:
    """Single undoubled notes in a doubled stretch of the line."""
    copy_of = dict(arrangement.form.doublings)
    line = arrangement.form.line
    for k, i in enumerate(line):
        note = arrangement.notes[i]
        if i in copy_of or note.time != 1 or k == 0:
            continue
        around = [*line[max(0, k - AROUND) : k], *line[k + 1 : k + 1 + AROUND]]
        doubled = len(around) >= AROUND and all(j in copy_of for j in around)
        if doubled and not _graced(arrangement, note) and not _comes_again(arrangement, i, copy_of):
            yield _remark(arrangement, i, [arrangement.notes[j] for j in around], copy_of)


def _graced(arrangement: Arrangement, note: ScoreNote) -> bool:
    """Whether grace notes stand at the same moment: the octave may be among them."""
    return any(n.grace and n.onset_q == note.onset_q for n in arrangement.notes)


def _comes_again(arrangement: Arrangement, i: int, copy_of: dict[int, int]) -> bool:
    """Whether the page has the same single note at the same beat of another bar: it is meant."""
    note = arrangement.notes[i]
    beat = arrangement.bars[note.bar].beat_at(note.onset_q)
    written = arrangement.bars[note.bar].written
    for j in arrangement.form.line:
        other = arrangement.notes[j]
        bar = arrangement.bars[other.bar]
        same = other.pitch == note.pitch and bar.beat_at(other.onset_q) == beat
        if same and bar.written != written and j not in copy_of:
            return True
    return False


def _remark(
    arrangement: Arrangement, i: int, around: list[ScoreNote], copy_of: dict[int, int]
) -> Remark:
    note = arrangement.notes[i]
    partners = [
        n
        for n in arrangement.notes
        if n.onset_q == note.onset_q and n.hand == note.hand and n is not note
    ]
    near = [n for n in partners if 10 <= abs(n.pitch - note.pitch) <= 14]
    if near:
        low, high = sorted((near[0], note), key=lambda n: n.pitch)
        interval = interval_between(
            (low.step, low.alter, low.octave), (high.step, high.alter, high.octave)
        )
        why = (
            f"{printed(low.name)} under {printed(high.name)} is a {interval.words}, where all "
            "notes around it are octaves"
        )
        return remark_on(arrangement, "octave", [note, near[0]], why, 0.9)
    why = f"{printed(note.name)} has no octave, where all line notes around it have one"
    return remark_on(arrangement, "octave", [note], why, 0.7)
