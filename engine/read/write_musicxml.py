"""A written score as MusicXML text, for the engraver: what a MIDI file looks like on the page.

Two staves, up to two voices a staff, ties over barlines, tuplets, accidentals by bar, key, meter,
tempo, pedal and rehearsal marks. The first head of each note has the note's own id; the heads it
is tied to have it with t1, t2 ... behind.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import lcm
from statistics import median
from xml.etree.ElementTree import Element, SubElement, tostring

from engine.read.beams import beam_signs, beat_groups, tuplet_signs
from engine.read.note_values import NoteValue, printable_values
from engine.read.staff_voices import Chord, Head, sort_into_voices
from engine.read.tempo import beat_unit_of
from engine.read.written import WrittenBar, WrittenScore

_ACCIDENTALS = {
    -3: "triple-flat", -2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp",
    3: "triple-sharp",
}  # fmt: skip
_STAVES = (1, 2)
#: The upper staff has a bass clef if its middle note lies below the first key, the lower one a
#: treble clef if its middle note lies above the second.
_CLEF_CHANGES = (55, 65)


def write_musicxml(score: WrittenScore) -> str:
    """The score as MusicXML 4.0 text, without an XML declaration."""
    root = Element("score-partwise", version="4.0")
    _text(SubElement(root, "work"), "work-title", score.title)
    part_list = SubElement(root, "part-list")
    _text(SubElement(part_list, "score-part", id="P1"), "part-name", "Piano")
    part = SubElement(root, "part", id="P1")
    writer = _Writer(score)
    for index, bar in enumerate(score.bars):
        writer.write(SubElement(part, "measure", number=bar.number), index, bar)
    return tostring(root, encoding="unicode")


def _text(parent: Element, tag: str, text: object, **attributes: str) -> Element:
    element = SubElement(parent, tag, attributes)
    element.text = str(text)
    return element


class _Writer:
    """Writes bar after bar, carrying over the notes that last beyond their bar."""

    def __init__(self, score: WrittenScore) -> None:
        self.score = score
        lengths = (n.at_q + n.duration_q for bar in score.bars for n in bar.notes)
        places = (n.at_q for bar in score.bars for n in bar.notes)
        ends = (bar.duration_q for bar in score.bars)
        self.divisions = lcm(*(q.denominator for group in (lengths, places, ends) for q in group))
        self.divisions = lcm(self.divisions, 64)
        self.held: list[Head] = []
        self.heads_written: dict[str, int] = defaultdict(int)

    def write(self, measure: Element, index: int, bar: WrittenBar) -> None:
        """Fill one <measure>."""
        if index == 0 and bar.lead_q:
            measure.set("implicit", "yes")
        self._write_attributes(measure, index, bar)
        self._write_directions(measure, bar)
        staves = {s: sort_into_voices(h) for s, h in self._heads_by_staff(bar).items()}
        self.held = [_held_on(head, bar) for head in _tied_on(staves)]
        first = True
        for staff in _STAVES:
            accidentals = _Accidentals(bar.fifths)
            for number, voice in enumerate(staves.get(staff) or [[]]):
                if not first:
                    _text(SubElement(measure, "backup"), "duration", self._ticks(bar.duration_q))
                first = False
                # Voices 1 and 2 are the upper staff's, 3 and 4 the lower's.
                self._write_voice(measure, voice, bar, staff, 2 * staff - 1 + number, accidentals)

    def _ticks(self, length_q: Fraction) -> int:
        return int(length_q * self.divisions)

    # What stands at the beginning of a bar

    def _write_attributes(self, measure: Element, index: int, bar: WrittenBar) -> None:
        before = self.score.bars[index - 1] if index else None
        attributes = Element("attributes")
        if before is None:
            _text(attributes, "divisions", self.divisions)
        if before is None or before.fifths != bar.fifths:
            _text(SubElement(attributes, "key"), "fifths", bar.fifths)
        if before is None or (before.beats, before.beat_unit) != (bar.beats, bar.beat_unit):
            time = SubElement(attributes, "time")
            _text(time, "beats", bar.beats)
            _text(time, "beat-type", bar.beat_unit)
        if before is None:
            _text(attributes, "staves", len(_STAVES))
            for staff in _STAVES:
                self._write_clef(attributes, staff)
        if len(attributes):
            measure.append(attributes)

    def _write_clef(self, attributes: Element, staff: int) -> None:
        keys = [n.pitch for bar in self.score.bars for n in bar.notes if n.staff == staff]
        usual = 72 if staff == 1 else 48
        treble = (median(keys) if keys else usual) >= _CLEF_CHANGES[staff - 1]
        clef = SubElement(attributes, "clef", number=str(staff))
        _text(clef, "sign", "G" if treble else "F")
        _text(clef, "line", 2 if treble else 4)

    def _write_directions(self, measure: Element, bar: WrittenBar) -> None:
        for mark in bar.marks:
            if mark.kind == "rehearsal":
                _text(self._direction(measure, mark.at_q, 1), "rehearsal", mark.text)
        for tempo in bar.tempos:
            if tempo.qpm is not None:
                metronome = SubElement(self._direction(measure, tempo.at_q, 1), "metronome")
                _text(metronome, "beat-unit", "quarter")
                _text(metronome, "per-minute", f"{tempo.qpm:g}")
        for sign in bar.pedals:
            if sign.kind == "damper" and sign.action in ("start", "stop"):
                kind = self._direction(measure, sign.at_q, 2, "below")
                SubElement(kind, "pedal", type=sign.action, line="yes")

    def _direction(
        self, measure: Element, at_q: Fraction, staff: int, placement: str = "above"
    ) -> Element:
        """A direction at a place; returns its <direction-type>, still empty."""
        direction = SubElement(measure, "direction", placement=placement)
        kind = SubElement(direction, "direction-type")
        if at_q:
            _text(direction, "offset", round(at_q * self.divisions), sound="yes")
        _text(direction, "staff", staff)
        return kind

    # Notes

    def _heads_by_staff(self, bar: WrittenBar) -> dict[int, list[Head]]:
        """The heads of a bar: notes held from before, and its own, cut at its end."""
        staves: dict[int, list[Head]] = defaultdict(list)
        own = [Head(n, n.at_q, n.at_q + n.duration_q, n.at_q + n.duration_q) for n in bar.notes]
        for head in (*self.held, *own):
            if head.end_q > bar.duration_q:
                head = replace(head, end_q=bar.duration_q, tied_on=True)
            staves[head.note.staff].append(head)
        return staves

    def _write_voice(
        self, measure: Element, voice: list[Chord], bar: WrittenBar, staff: int, number: int,
        accidentals: _Accidentals,
    ) -> None:  # fmt: skip
        pieces = list(self._pieces(voice, bar.duration_q))
        places = [(piece.at_q + bar.lead_q, piece.chord is not None) for piece in pieces]
        for group in beat_groups(places, beat_unit_of(bar)):
            values = [pieces[i].value for i in group]
            for i, beams, tuplet in zip(
                group, beam_signs(values), tuplet_signs(values), strict=True
            ):
                pieces[i].beams, pieces[i].tuplet = beams, tuplet
        for piece in pieces:
            if piece.chord is not None:
                self._write_chord(measure, piece, piece.chord, staff, number, accidentals)
            elif number % 2 == 0:
                # A second voice is silent where it has nothing to say.
                ticks = self._ticks(piece.value.length_q)
                _text(SubElement(measure, "forward"), "duration", ticks)
            else:
                note = SubElement(measure, "note", id=f"r{self._count('r')}")
                SubElement(note, "rest")
                _text(note, "duration", self._ticks(piece.value.length_q))
                self._write_value(note, piece, staff, number)

    def _pieces(self, voice: list[Chord], bar_q: Fraction) -> Iterator[_Piece]:
        """The chords and the gaps between them, each cut into printable values."""
        now_q = Fraction(0)
        for chord in (*voice, Chord(bar_q, bar_q)):
            for value in _exactly(chord.at_q - now_q):
                yield _Piece(now_q, value)
                now_q += value.length_q
            values = _exactly(chord.end_q - chord.at_q)
            for k, value in enumerate(values):
                yield _Piece(now_q, value, chord, k > 0, k < len(values) - 1)
                now_q += value.length_q

    def _count(self, name: str) -> int:
        self.heads_written[name] += 1
        return self.heads_written[name]

    def _write_chord(
        self, measure: Element, piece: _Piece, chord: Chord, staff: int, number: int,
        accidentals: _Accidentals,
    ) -> None:  # fmt: skip
        for i, head in enumerate(sorted(chord.heads, key=lambda h: h.note.pitch)):
            note = SubElement(measure, "note", id=self._id(head))
            if i:
                SubElement(note, "chord")
            self._write_pitch(note, head)
            _text(note, "duration", self._ticks(piece.value.length_q))
            stop = head.tied_from or piece.tied_from
            start = head.tied_on or piece.tied_on
            ties = [kind for kind, is_so in (("stop", stop), ("start", start)) if is_so]
            for kind in ties:
                SubElement(note, "tie", type=kind)
            sign = None if stop else accidentals.needed(head)
            self._write_value(note, piece, staff, number, sign, leads=i == 0)
            self._write_notations(note, ties, piece.tuplet if i == 0 else "")

    def _id(self, head: Head) -> str:
        count = self._count(head.note.note_id)
        return head.note.note_id if count == 1 else f"{head.note.note_id}t{count - 1}"

    def _write_pitch(self, note: Element, head: Head) -> None:
        pitch = SubElement(note, "pitch")
        _text(pitch, "step", head.note.step)
        if head.note.alter:
            _text(pitch, "alter", head.note.alter)
        _text(pitch, "octave", head.note.octave)

    def _write_value(
        self, note: Element, piece: _Piece, staff: int, voice: int,
        sign: str | None = None, leads: bool = True,
    ) -> None:  # fmt: skip
        value = piece.value
        _text(note, "voice", voice)
        _text(note, "type", value.type)
        for _ in range(value.dots):
            SubElement(note, "dot")
        if sign:
            _text(note, "accidental", sign)
        if value.actual > 1:
            modification = SubElement(note, "time-modification")
            _text(modification, "actual-notes", value.actual)
            _text(modification, "normal-notes", value.normal)
        _text(note, "staff", staff)
        for level, beam in enumerate(piece.beams if leads else (), 1):
            _text(note, "beam", beam, number=str(level))

    def _write_notations(self, note: Element, ties: list[str], tuplet: str) -> None:
        if not ties and not tuplet:
            return
        notations = SubElement(note, "notations")
        for kind in ties:
            SubElement(notations, "tied", type=kind)
        if tuplet:
            SubElement(notations, "tuplet", type=tuplet)


def _tied_on(staves: dict[int, list[list[Chord]]]) -> Iterator[Head]:
    """The heads that are tied over the barline, after voices were sorted and some cut short."""
    for voices in staves.values():
        for chord in (chord for voice in voices for chord in voice):
            yield from (head for head in chord.heads if head.tied_on)


def _held_on(head: Head, bar: WrittenBar) -> Head:
    """What is left of a tied head after its bar, counted from the next."""
    left_q = head.sounds_to_q - bar.duration_q
    return Head(head.note, Fraction(0), left_q, left_q, tied_from=True)


@dataclass(slots=True)
class _Piece:
    """A printable value at its place in the bar: part of a chord, or of a silence."""

    at_q: Fraction
    value: NoteValue
    chord: Chord | None = None
    tied_from: bool = False
    tied_on: bool = False
    beams: Sequence[str] = ()
    tuplet: str = ""


def _exactly(length_q: Fraction) -> list[NoteValue]:
    """Printable values whose lengths add up, whatever had to be left off in print."""
    values = printable_values(length_q)
    rest_q = length_q - sum(value.length_q for value in values)
    return [*values, NoteValue(rest_q, "256th")] if rest_q > 0 else values


class _Accidentals:
    """Which signs are in force on one staff in one bar."""

    def __init__(self, fifths: int) -> None:
        self._key = dict(_key_alters(fifths))
        self._bar: dict[tuple[str, int], int] = {}

    def needed(self, head: Head) -> str | None:
        """The sign a head must carry, None if it is already in force."""
        place = (head.note.step, head.note.octave)
        now = self._bar.get(place, self._key.get(head.note.step, 0))
        if now == head.note.alter:
            return None
        self._bar[place] = head.note.alter
        return _ACCIDENTALS[head.note.alter]


def _key_alters(fifths: int) -> Iterator[tuple[str, int]]:
    order = "FCGDAEB" if fifths > 0 else "BEADGCF"
    sign = 1 if fifths > 0 else -1
    for i, step in enumerate(order):
        count = (abs(fifths) - i + 6) // 7
        if count > 0:
            yield step, sign * count
