"""One remark on the page: what, where, why and how sure. Nothing is ever changed."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from engine.arrangement import Arrangement, ScoreNote

#: Every kind of remark, with what it means.
KINDS: dict[str, str] = {
    "figure": "the figure breaks its own pattern for one note",
    "octave": "a line note lacks its octave, or has it wrong, where all others have it",
    "pedal": "a written pedal crosses a change of harmony, or lifts inside one",
    "spelling": "a name that the harmony or the rest of the page would spell otherwise",
    "keyboard": "a note outside the keyboard",
    "stretch": "more than the hand reaches at once",
    "two places": "one hand asked for two places at once",
    "bar": "a bar that is too long or too short",
    "repeat": "repeats, endings or jumps that do not add up",
    "tie": "a tie that ends or begins nowhere",
    "reading": "something the reader had to put up with",
}


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing to look at.

    Attributes:
        kind: see `KINDS`.
        bar: printed number, "" where it concerns the whole. beat: 1 is the downbeat, None too.
        why: one sentence.
        certainty: 0 to 1.
        note_ids: heads it concerns, as in the file.
        key: stays the same when other bars are edited; what is set aside is remembered by it.
        would_agree: what would make it agree ("Bbb5"), "" where that cannot be said.
    """

    kind: str
    bar: str
    beat: Fraction | None
    why: str
    certainty: float
    note_ids: tuple[str, ...] = ()
    key: str = ""
    would_agree: str = ""


def remark_on(
    arrangement: Arrangement,
    kind: str,
    notes: Sequence[ScoreNote],
    why: str,
    certainty: float,
    would_agree: str = "",
) -> Remark:
    """A remark on some notes, placed at the first of them."""
    first = notes[0]
    bar = arrangement.bars[first.bar]
    return Remark(
        kind,
        bar.number,
        bar.beat_at(first.onset_q),
        why,
        certainty,
        tuple(n.note_id for n in notes),
        bar_key(arrangement, kind, first.bar, first.onset_q, [n.name for n in notes]),
        would_agree,
    )


def remark_at(
    arrangement: Arrangement, kind: str, onset_q: Fraction, why: str, certainty: float
) -> Remark:
    """A remark on a moment."""
    bar = arrangement.bar_at(onset_q)
    key = bar_key(arrangement, kind, bar.index, onset_q, [])
    return Remark(kind, bar.number, bar.beat_at(onset_q), why, certainty, (), key)


def bar_key(
    arrangement: Arrangement, kind: str, bar: int, onset_q: Fraction, names: Iterable[str]
) -> str:
    """A key made of what the bar holds, not of its number: it survives edits elsewhere.

    Two bars that hold the same share it: what is meant in one is meant in the other.
    """
    start = arrangement.bars[bar].onset_q
    held = sorted(f"{n.onset_q - start}:{n.name}:{n.hand}" for n in arrangement.notes_of_bars[bar])
    text = "|".join([kind, str(onset_q - start), *names, "", *held])
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def first_time(arrangement: Arrangement) -> list[int]:
    """Indices of the notes of the page as written: what repeats bring again is left out."""
    return [i for i, n in enumerate(arrangement.notes) if n.time == 1]
