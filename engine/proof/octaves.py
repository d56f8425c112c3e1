"""Line notes that lack their octave, or have another interval, where all around have it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction

from engine.arrangement import Arrangement, ScoreNote
from engine.form.fifths import Interval, interval_between
from engine.pitch_names import printed
from engine.proof.remark import Remark, remark_on

#: So many line notes before and after must be doubled before one alone looks forgotten.
AROUND = 4


def octave_remarks(arrangement: Arrangement) -> Iterator[Remark]:
    """Single undoubled notes in a doubled stretch of the line."""
    copy_of = dict(arrangement.form.doublings)
    line = arrangement.form.line
    single = _single(arrangement, copy_of)
    for k, i in enumerate(line):
        note = arrangement.notes[i]
        if i in copy_of or note.time != 1 or k == 0:
            continue
        around = [*line[max(0, k - AROUND) : k], *line[k + 1 : k + 1 + AROUND]]
        doubled = len(around) >= AROUND and all(j in copy_of for j in around)
        again = single[_stand(arrangement, note)] - {arrangement.bars[note.bar].written}
        if (
            doubled
            and not again
            and not _graced(arrangement, note)
            and not _in_chord(arrangement, note)
        ):
            yield _remark(arrangement, i)


def _at_once(arrangement: Arrangement, note: ScoreNote) -> Iterator[ScoreNote]:
    """All notes struck with a note, itself too."""
    here = arrangement.notes_of_bars[note.bar]
    return (n for n in here if n.onset_q == note.onset_q)


def _graced(arrangement: Arrangement, note: ScoreNote) -> bool:
    """Whether grace notes stand at the same moment: the octave may be among them."""
    return any(n.grace for n in _at_once(arrangement, note))


def _in_chord(arrangement: Arrangement, note: ScoreNote) -> bool:
    """Whether its hand strikes another key near by: a chord in its place, no octave forgotten."""
    apart = {abs(n.pitch - note.pitch) for n in _at_once(arrangement, note) if n.hand == note.hand}
    return any(0 < a < 7 for a in apart) and not any(7 <= a <= 14 for a in apart)


def _stand(arrangement: Arrangement, note: ScoreNote) -> tuple[int, Fraction]:
    """A note's key and its beat."""
    return note.pitch, arrangement.bars[note.bar].beat_at(note.onset_q)


def _single(
    arrangement: Arrangement, copy_of: dict[int, int]
) -> defaultdict[tuple[int, Fraction], set[int]]:
    """Written bars that have a single line note at a key and beat.

    Where another bar has the same one, it is meant.
    """
    found: defaultdict[tuple[int, Fraction], set[int]] = defaultdict(set)
    for i in arrangement.form.line:
        if i not in copy_of:
            note = arrangement.notes[i]
            found[_stand(arrangement, note)].add(arrangement.bars[note.bar].written)
    return found


def _remark(arrangement: Arrangement, i: int) -> Remark:
    note = arrangement.notes[i]
    partners = [n for n in _at_once(arrangement, note) if n.hand == note.hand and n is not note]
    near = [n for n in partners if 10 <= abs(n.pitch - note.pitch) <= 14]
    if near:
        low, high = sorted((near[0], note), key=lambda n: n.pitch)
        interval = interval_between(
            (low.step, low.alter, low.octave), (high.step, high.alter, high.octave)
        )
        why = (
            f"{printed(low.name)} under {printed(high.name)} is {_say_size(interval)}, where all "
            "notes around it are octaves"
        )
        return remark_on(arrangement, "octave", [note, near[0]], why, 0.9)
    why = f"{printed(note.name)} has no octave, where all line notes around it have one"
    return remark_on(arrangement, "octave", [note], why, 0.7)


def _say_size(interval: Interval) -> str:
    """With its article; beside an octave a ninth is a ninth, and no second."""
    words = interval.words
    if interval.number > 8:
        words = words.replace("second", "ninth").replace("third", "tenth")
    return f"{'an' if words.startswith('a') else 'a'} {words}"
