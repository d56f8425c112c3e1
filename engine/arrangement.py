"""The arrangement as every room sees it: notes, bars, tempo, pedal, form. Plain data.

Score time is exact: quarters as `Fraction`, counted along the *unfolded* score (repeats and
jumps written out), 0 at the first written moment. `_q` marks quarters, `_s` seconds.
"""

from __future__ import annotations

import bisect
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from engine.pitch_names import SIGNS

Hand = Literal["left", "right"]
Hands = Literal["left", "right", "both"]
Grace = Literal["", "before", "after"]

#: Fields of `Arrangement.table`: one row a note, in the order of `Arrangement.notes`.
#: onset_q, duration_q: quarters (float, for arithmetic; the exact ones are in the notes);
#: onset_s, duration_s: seconds at the marked tempo; hand: 0 left, 1 right; bar: index into
#: `bars`; grace: 0 no, 1 before the beat, 2 after its main note; optional: cue-size or hidden,
#: played or not; ornament, arpeggiated: 0/1; unison: index of the note that stands for this
#: one (itself unless two written notes are one key at one moment).
NOTE_DTYPE = np.dtype(
    [
        ("onset_q", "f8"),
        ("duration_q", "f8"),
        ("onset_s", "f8"),
        ("duration_s", "f8"),
        ("pitch", "i2"),
        ("hand", "i1"),
        ("staff", "i1"),
        ("bar", "i4"),
        ("grace", "i1"),
        ("optional", "i1"),
        ("ornament", "i1"),
        ("arpeggiated", "i1"),
        ("unison", "i4"),
    ]
)


@dataclass(frozen=True, slots=True)
class ScoreNote:
    """One note to be played, once for each time through a repeat.

    Attributes:
        note_id: the note's id in the file, or n1, n2 ... in document order where it has none.
        time: which time the written repeats bring it (1 for the first).
        onset_q, duration_q: quarters in the unfolded score; a chain of ties is one note.
            Grace notes have the onset of the note they belong to and duration 0; one tied
            into its main note lasts as long as the tie.
        pitch: MIDI number (C4 is 60) as sounding.
        step, alter, octave: the spelling ("B", -2, 4 is B double flat above middle C).
        hand: whose note it is. staff: 1 is the upper. voice: as in the file.
        bar: index into `Arrangement.bars`.
        grace: "" for an ordinary note; "before" or "after" for a grace note.
        optional: cue-size or hidden print: may be played, is never missing.
        ornament: "" or the sign's name: trill, mordent, inverted-mordent, turn,
            inverted-turn, tremolo, schleifer, other.
        arpeggiated: an arpeggio mark stands before it.
        fingering: as printed ("5", "1-2"), "" if none.
        heads: ids of all tied heads it sounds for, in order, itself first.
        unison: index of the note that stands for this key at this moment (usually itself).
    """

    note_id: str
    time: int
    onset_q: Fraction
    duration_q: Fraction
    pitch: int
    step: str
    alter: int
    octave: int
    hand: Hand
    staff: int
    voice: str
    bar: int
    grace: Grace = ""
    optional: bool = False
    ornament: str = ""
    arpeggiated: bool = False
    fingering: str = ""
    heads: tuple[str, ...] = ()
    unison: int = -1

    @property
    def score_id(self) -> str:
        """The id with the time through: n17-2."""
        return f"{self.note_id}-{self.time}"

    @property
    def name(self) -> str:
        """The pitch as spelled: Bbb4."""
        return f"{self.step}{SIGNS[self.alter]}{self.octave}"


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar of the unfolded score.

    Attributes:
        index: its place in `Arrangement.bars`.
        number: the printed number ("0" or "" for a pickup; may repeat or be "12a").
        written: index of the bar in the document, 0 for the first.
        time: which time through.
        onset_q, duration_q: quarters.
        beats, beat_unit: the time signature in force (3, 8 for 3/8).
        lead_q: quarters missing at the front (a pickup bar, the second half of a split bar),
            so that its first note is not on beat 1.
    """

    index: int
    number: str
    written: int
    time: int
    onset_q: Fraction
    duration_q: Fraction
    beats: int
    beat_unit: int
    lead_q: Fraction = Fraction(0)

    def beat_at(self, onset_q: Fraction) -> Fraction:
        """The beat (1 is the downbeat) of a moment, in the signature's beat unit."""
        return (onset_q - self.onset_q + self.lead_q) * self.beat_unit / 4 + 1


@dataclass(frozen=True, slots=True)
class TempoMark:
    """A tempo from `onset_q` on.

    Attributes:
        onset_q: quarters, unfolded.
        qpm: quarters a minute.
        beat_unit_q: the length in quarters of the beat the mark is written in
            (a dotted quarter is 3/2); the player's `--tempo` counts in it.
    """

    onset_q: Fraction
    qpm: float
    beat_unit_q: Fraction = Fraction(1)


@dataclass(frozen=True, slots=True)
class PedalSpan:
    """A written pedal: down at `down_q`, up at `up_q`. kind: damper, sostenuto or soft."""

    down_q: Fraction
    up_q: Fraction
    kind: Literal["damper", "sostenuto", "soft"] = "damper"


@dataclass(frozen=True, slots=True)
class Mark:
    """Anything printed that is not a note and that other rooms may want.

    kind is one of: rehearsal, words, double-bar, final-bar, repeat-start, repeat-end, ending,
    segno, coda, fine, dacapo, dalsegno, tocoda, key (value: fifths), time, dynamic, wedge,
    fermata, octave-shift, slur-start, slur-end, breath, tie-open (a tie that ends nowhere; with the
    text "from nowhere", one that begins nowhere).
    `onset_q` is unfolded; `bar` an index into `bars`; `text` what is printed;
    `note_id` the head it hangs on, if any; `staff` 0 where it is for all staves.
    """

    kind: str
    onset_q: Fraction
    bar: int
    text: str = ""
    value: int = 0
    staff: int = 0
    note_id: str = ""


@dataclass(frozen=True, slots=True)
class Problem:
    """Something the reader had to put up with. bar is the printed number, "" for none."""

    bar: str
    what: str
    hint: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """Bars [from_bar, to_bar) (indices) under one name; `letter` A, B ... , A again on return."""

    name: str
    letter: str
    from_bar: int
    to_bar: int


@dataclass(frozen=True, slots=True)
class Phrase:
    """A phrase inside a section; [from_q, to_q). number counts from 1 within the section."""

    section: int
    number: int
    from_q: Fraction
    to_q: Fraction


@dataclass(frozen=True, slots=True)
class Twins:
    """Two passages that begin alike and part.

    Attributes:
        first_q, second_q: where each begins.
        length_q: how long they are alike.
        parting: (q in the first, q in the second) of the first difference.
        transposed: semitones from the first to the second.
        hands: in which hand(s) they are alike.
        words: what each does at the parting, for the player.
    """

    first_q: Fraction
    second_q: Fraction
    length_q: Fraction
    parting: tuple[Fraction, Fraction]
    transposed: int = 0
    hands: Hands = "both"
    words: str = ""


@dataclass(frozen=True, slots=True)
class Figure:
    """A repeated accompaniment pattern.

    Attributes:
        hand: whose.
        cell_q: length of one cell, quarters.
        places: number of notes (onsets) in a cell.
        occurrences: one tuple of `places` note indices a cell, in order of playing;
            the onsets of place k stand at the same offset in each cell.
    """

    hand: Hand
    cell_q: Fraction
    places: int
    occurrences: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class Harmony:
    """One harmony over [from_q, to_q): root as spelled ("Bbb"), quality, colour notes, symbol."""

    from_q: Fraction
    to_q: Fraction
    root: str
    quality: str
    colours: tuple[str, ...] = ()
    symbol: str = ""
    certainty: float = 1.0


@dataclass(frozen=True, slots=True)
class Form:
    """What the page is made of. All indices are into the arrangement it was found in.

    `line`: notes of the melody; `doublings`: (line note, its octave copy) pairs; lower or upper.
    """

    sections: tuple[Section, ...] = ()
    phrases: tuple[Phrase, ...] = ()
    twins: tuple[Twins, ...] = ()
    figures: tuple[Figure, ...] = ()
    line: tuple[int, ...] = ()
    doublings: tuple[tuple[int, int], ...] = ()
    harmonies: tuple[Harmony, ...] = ()


@dataclass(frozen=True)
class Arrangement:
    """A score, unfolded and ready to be followed.

    Attributes:
        title: as printed, or the file's stem.
        content_hash: SHA-256 of the file's bytes, hex.
        notes: sorted by (onset, grace before others, pitch).
        bars, tempo, pedals, marks: in order of onset.
        fifths: the key signature at the start (-7 flats to 7 sharps).
        form: found by `engine.form` or given by the user.
        problems: what the reader put up with.
        spelled: False where the spelling was made up (MIDI files have none).
    """

    title: str
    content_hash: str
    notes: tuple[ScoreNote, ...]
    bars: tuple[Bar, ...]
    tempo: tuple[TempoMark, ...]
    pedals: tuple[PedalSpan, ...] = ()
    marks: tuple[Mark, ...] = ()
    fifths: int = 0
    form: Form = field(default_factory=Form)
    problems: tuple[Problem, ...] = ()
    spelled: bool = True

    @cached_property
    def table(self) -> npt.NDArray[Any]:
        """The notes as a structured array (see `NOTE_DTYPE`), shape (len(notes),), read-only."""
        rows = np.zeros(len(self.notes), NOTE_DTYPE)
        graces = {"": 0, "before": 1, "after": 2}
        for i, n in enumerate(self.notes):
            rows[i] = (
                float(n.onset_q), float(n.duration_q), 0.0, 0.0, n.pitch, n.hand == "right",
                n.staff, n.bar, graces[n.grace], n.optional, bool(n.ornament), n.arpeggiated,
                n.unison if n.unison >= 0 else i,
            )  # fmt: skip
        rows["onset_s"] = self.seconds_at(rows["onset_q"])
        rows["duration_s"] = self.seconds_at(rows["onset_q"] + rows["duration_q"]) - rows["onset_s"]
        rows.flags.writeable = False
        return rows

    @cached_property
    def _tempo_knots(self) -> tuple[npt.NDArray[np.float64], ...]:
        q = np.array([float(t.onset_q) for t in self.tempo])
        s_per_q = np.array([60.0 / t.qpm for t in self.tempo])
        s = np.concatenate([[0.0], np.cumsum(np.diff(q) * s_per_q[:-1])]) + q[0] * s_per_q[0]
        return q, s, s_per_q

    def seconds_at(self, onset_q: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Seconds from the start at the marked tempo, for quarters (any shape)."""
        q, s, s_per_q = self._tempo_knots
        at = np.asarray(onset_q, dtype=float)
        k = np.clip(np.searchsorted(q, at, side="right") - 1, 0, len(q) - 1)
        return np.asarray(s[k] + (at - q[k]) * s_per_q[k])

    def quarters_at(self, onset_s: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """The inverse of `seconds_at`."""
        q, s, s_per_q = self._tempo_knots
        at = np.asarray(onset_s, dtype=float)
        k = np.clip(np.searchsorted(s, at, side="right") - 1, 0, len(s) - 1)
        return np.asarray(q[k] + (at - s[k]) / s_per_q[k])

    def tempo_at(self, onset_q: Fraction | float) -> TempoMark:
        """The tempo mark in force."""
        k = bisect.bisect_right([t.onset_q for t in self.tempo], onset_q) - 1
        return self.tempo[max(k, 0)]

    @cached_property
    def _bar_onsets(self) -> list[float]:
        return [float(b.onset_q) for b in self.bars]

    def bar_at(self, onset_q: Fraction | float) -> Bar:
        """The bar that holds a moment (the last bar for moments past the end)."""
        k = bisect.bisect_right(self._bar_onsets, float(onset_q)) - 1
        return self.bars[max(k, 0)]

    @property
    def end_q(self) -> Fraction:
        """Where the last bar ends."""
        return self.bars[-1].onset_q + self.bars[-1].duration_q

    @cached_property
    def notes_of_bars(self) -> tuple[tuple[ScoreNote, ...], ...]:
        """The notes of each bar, in order."""
        found: list[list[ScoreNote]] = [[] for _ in self.bars]
        for note in self.notes:
            found[note.bar].append(note)
        return tuple(tuple(notes) for notes in found)

    @cached_property
    def index_of(self) -> dict[str, int]:
        """Index of a note by its score id ("n17-2")."""
        return {n.score_id: i for i, n in enumerate(self.notes)}


@dataclass(frozen=True, slots=True)
class Span:
    """The bars chosen to practise: indices into `Arrangement.bars`, both included."""

    from_bar: int
    to_bar: int

    def quarters(self, arrangement: Arrangement) -> tuple[Fraction, Fraction]:
        """[from, to) in quarters."""
        last = arrangement.bars[self.to_bar]
        return arrangement.bars[self.from_bar].onset_q, last.onset_q + last.duration_q


def whole_span(arrangement: Arrangement) -> Span:
    """All of it."""
    return Span(0, len(arrangement.bars) - 1)


def notes_in(arrangement: Arrangement, span: Span, hands: Hands) -> npt.NDArray[np.intp]:
    """Indices of the notes of a span and hand(s), ascending."""
    table = arrangement.table
    keep = (table["bar"] >= span.from_bar) & (table["bar"] <= span.to_bar)
    if hands != "both":
        keep &= table["hand"] == (hands == "right")
    return np.flatnonzero(keep)
