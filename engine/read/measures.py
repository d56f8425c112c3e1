"""The measures of one MusicXML part, read into bars with a cursor as the format prescribes."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from xml.etree.ElementTree import Element

from engine.read.barlines import read_barline
from engine.read.directions import (
    read_dynamics,
    read_jumps,
    read_marks,
    read_pedal_signs,
    read_tempo_sign,
    words_of,
)
from engine.read.limits import (
    MAX_BAR_Q,
    MAX_CUTS_IN_BAR,
    MAX_JUMPS_IN_BAR,
    MAX_STAVES,
    MAX_WRITTEN_NOTES,
)
from engine.read.notes import (
    read_fingering,
    read_ornament,
    read_pitch,
    read_ties,
    written_quarters,
)
from engine.read.quantity import read_decimal, read_integer
from engine.read.report import Report
from engine.read.split import Cut
from engine.read.written import WrittenBar, WrittenMark, WrittenNote

_ZERO = Fraction(0)
_BREATHS = ("breath-mark", "caesura")


class PartReader:
    """Reads one part, bar after bar. Staves are numbered from `first_staff` on.

    What carries over from bar to bar: divisions, time and key signature, count of notes.
    What belongs to one bar: the cursor `at_q`, the run of notes, graces waiting for their note.
    """

    def __init__(self, report: Report, first_staff: int = 1, leading: bool = True) -> None:
        self.report = report
        self.first_staff = first_staff
        self.leading = leading
        self.notes_read = 0
        self.left_clefs: dict[int, bool] = {}
        self.cuts: dict[int, list[Cut]] = {}
        self._divisions = Fraction(1)
        self._durations: dict[str, Fraction] = {}
        self._beats, self._beat_unit, self._fifths = 4, 4, 0
        self._line = 0
        self._unmeasured = False
        self._chord_voice = "1"
        self._handlers: dict[str, Callable[[Element], None]] = {
            "note": self._read_note,
            "backup": self._read_backup,
            "forward": self._read_forward,
            "attributes": self._read_attributes,
            "direction": self._read_direction,
            "sound": self._read_direction,
            "barline": self._read_barline,
        }

    def read(self, measure: Element, bars: list[WrittenBar], index: int) -> Fraction:
        """Read one measure into `bars[index]`; returns how far its music reaches, in quarters."""
        bar = self._bar = bars[index]
        self._index = index
        self._following = bars[index + 1] if index + 1 < len(bars) else WrittenBar("")
        self._at_q = self._reached_q = self._chord_at_q = _ZERO
        self._line += 1
        self._graces: dict[str, list[tuple[WrittenNote, bool]]] = {}
        self._latest: dict[str, WrittenNote] = {}
        for element in measure:
            handler = self._handlers.get(element.tag)
            if handler:
                handler(element)
        self._settle_all_graces()
        if self.leading:
            bar.beats, bar.beat_unit = self._beats, self._beat_unit
            bar.fifths, bar.unmeasured = self._fifths, self._unmeasured
        return self._reached_q

    # The cursor

    def _duration(self, element: Element) -> Fraction | None:
        text = element.findtext("duration")
        if text is None:
            return None
        known = self._durations.get(text)
        if known is None:
            value = read_decimal(text)
            if value is None or value < 0:
                raise self.report.refusal(
                    f"a duration is {text.strip()[:20]!r}", "export afresh", self._bar.number
                )
            known = self._durations[text] = value / self._divisions
        return known

    def _advance(self, length_q: Fraction) -> None:
        self._at_q += length_q
        if self._at_q > self._reached_q:
            self._reached_q = self._at_q
            if self._reached_q > MAX_BAR_Q:
                raise self.report.refusal(
                    f"the bar is longer than {MAX_BAR_Q} quarters", "correct it", self._bar.number
                )

    def _read_backup(self, element: Element) -> None:
        self._settle_all_graces()
        self._at_q -= self._duration(element) or _ZERO
        self._line += 1
        if self._at_q < 0:
            what = "the file goes back beyond the bar's beginning"
            self.report.put_up_with(self._bar.number, what)
            self._at_q = _ZERO

    def _read_forward(self, element: Element) -> None:
        self._advance(self._duration(element) or _ZERO)

    # Notes

    def _read_note(self, element: Element) -> None:
        parts = {child.tag: child for child in element}
        grace = "grace" in parts
        length_q = _ZERO if grace else self._length(element, parts)
        joined = "chord" in parts
        onset_q = self._chord_at_q if joined else self._at_q
        if not joined:
            self._chord_at_q = onset_q
            self._advance(length_q)
        voice = self._voice(element, joined)
        if "pitch" in parts:
            note = self._build(element, parts, onset_q, length_q, voice)
            self._place(note, parts.get("grace"), joined)
        else:
            self._pass_over(element, parts, onset_q, voice)

    def _voice(self, element: Element, joined: bool) -> str:
        """The note's voice; a chord note without one is of the voice of its chord."""
        own = (element.findtext("voice") or "").strip()[:20]
        if not joined:
            self._chord_voice = own or "1"
        return own or self._chord_voice

    def _length(self, element: Element, parts: dict[str, Element]) -> Fraction:
        length_q = self._duration(element)
        if length_q is None and "rest" in parts and parts["rest"].get("measure") == "yes":
            length_q = Fraction(4 * self._beats, self._beat_unit)
        if length_q is None:
            length_q = written_quarters(element)
            self.report.put_up_with(
                self._bar.number, "a note has no duration; its printed value is taken"
            )
        return length_q if length_q is not None else _ZERO

    def _pass_over(
        self, element: Element, parts: dict[str, Element], onset_q: Fraction, voice: str
    ) -> None:
        """A rest, or a note without pitch: nothing to play, though a fermata may hang on it."""
        if "unpitched" in parts:
            self.report.put_up_with(self._bar.number, "notes without pitch are left out")
        self._settle_graces(voice)
        self._latest.pop(voice, None)
        if "notations" in parts and parts["notations"].find("fermata") is not None:
            self._bar.marks.append(WrittenMark("fermata", onset_q, staff=self._staff(element)))

    def _staff(self, element: Element) -> int:
        own = read_integer(element.findtext("staff")) or 1
        return min(max(own, 1), MAX_STAVES) + self.first_staff - 1

    def _build(
        self, element: Element, parts: dict[str, Element],
        onset_q: Fraction, length_q: Fraction, voice: str,
    ) -> WrittenNote:  # fmt: skip
        self.notes_read += 1
        if self.notes_read > MAX_WRITTEN_NOTES:
            raise self.report.refusal(
                f"the score has more than {MAX_WRITTEN_NOTES} notes", "split it into several"
            )
        pitch, step, alter, octave = read_pitch(parts["pitch"], self.report, self._bar.number)
        note = WrittenNote(
            element.get("id", ""), onset_q, length_q, pitch, step, alter, octave,
            self._staff(element), voice, self._line, self.first_staff - 1,
            optional="cue" in parts or element.get("print-object") == "no",
        )  # fmt: skip
        if "tie" in parts or "notations" in parts:
            note.tie_stop, note.tie_start = read_ties(element)
        if "notations" in parts:
            self._read_notations(element.findall("notations"), note)
        return note

    def _read_notations(self, notations: list[Element], note: WrittenNote) -> None:
        note.ornament = read_ornament(notations)
        note.fingering = read_fingering(notations)
        for sign in (sign for group in notations for sign in group):
            if sign.tag == "arpeggiate":
                note.arpeggiated = True
            elif sign.tag == "fermata":
                self._mark_note("fermata", note)
            elif sign.tag == "slur" and sign.get("type") in ("start", "stop"):
                ends = sign.get("type") == "stop"
                self._mark_note("slur-end" if ends else "slur-start", note)
            elif sign.tag == "dynamics":
                self._bar.marks.extend(read_dynamics(sign, note.at_q, note.staff))
            elif sign.tag == "articulations" and any(e.tag in _BREATHS for e in sign):
                self._mark_note("breath", note)

    def _mark_note(self, kind: str, note: WrittenNote) -> None:
        mark = WrittenMark(kind, note.at_q, staff=note.staff, note_id=note.note_id)
        self._bar.marks.append(mark)

    def _place(self, note: WrittenNote, grace: Element | None, joined: bool) -> None:
        """Put a note into the bar; a grace waits until the note it belongs to is known."""
        if grace is not None:
            note.grace = "after" if grace.get("steal-time-previous") else "before"
            slashed = grace.get("slash") == "yes"
            self._graces.setdefault(note.voice, []).append((note, slashed))
            return
        if not joined:
            self._settle_graces(note.voice, note)
            self._latest[note.voice] = note
        elif note.voice in self._latest and self._latest[note.voice].arpeggiated:
            note.arpeggiated = True
        self._bar.notes.append(note)

    def _settle_graces(self, voice: str, main: WrittenNote | None = None) -> None:
        """Give waiting graces to the note that follows, or to the one they follow.

        They come after a note if the file says so, if no note follows in the bar, or if they
        close its trill (two or more without a slash; common practice).
        """
        waiting = self._graces.pop(voice, ())
        before = self._latest.get(voice)
        closing = (
            before is not None
            and before.ornament == "trill"
            and len(waiting) > 1
            and not any(slashed for _, slashed in waiting)
        )
        for grace, _ in waiting:
            if before is not None and (main is None or closing or grace.grace == "after"):
                grace.grace, grace.at_q = "after", before.at_q
            else:
                grace.grace = "before"
                grace.at_q = main.at_q if main is not None else grace.at_q
            self._bar.notes.append(grace)

    def _settle_all_graces(self) -> None:
        for voice in list(self._graces):
            self._settle_graces(voice)
        self._latest.clear()

    # Attributes, directions, barlines

    def _read_attributes(self, element: Element) -> None:
        self._read_divisions(element)
        self._read_time(element)
        self._read_key(element)
        self._read_clefs(element)
        for transpose in element.iterfind("transpose"):
            shifts = (transpose.findtext("chromatic"), transpose.findtext("octave-change"))
            if any(read_decimal(s) not in (None, 0) for s in shifts):
                raise self.report.refusal(
                    "the part is written for a transposing instrument",
                    "write it at sounding pitch",
                    self._bar.number,
                )

    def _read_divisions(self, element: Element) -> None:
        text = element.findtext("divisions")
        if text is None:
            return
        value = read_decimal(text)
        if value is None or value <= 0:
            raise self.report.refusal(
                f"divisions are {text.strip()[:20]!r}", "export the score afresh", self._bar.number
            )
        if value != self._divisions:
            self._divisions = value
            self._durations.clear()

    def _read_time(self, element: Element) -> None:
        time = element.find("time")
        if time is None:
            return
        self._unmeasured = time.find("senza-misura") is not None
        if time.find("beats") is None:
            return
        pairs = [
            (sum(read_numbers_in_order(b.text)), read_integer(u.text) or 0)
            for b, u in zip(time.findall("beats"), time.findall("beat-type"), strict=False)
        ]
        if not pairs or any(not 0 < b <= 256 or not 0 < u <= 256 for b, u in pairs):
            self.report.put_up_with(self._bar.number, "the time signature makes no sense")
            return
        unit = max(u for _, u in pairs)
        beats = sum(Fraction(b * unit, u) for b, u in pairs)
        if beats.denominator == 1:
            self._beats, self._beat_unit = int(beats), unit
        if self.leading:
            text = f"{self._beats}/{self._beat_unit}"
            self._bar.marks.append(WrittenMark("time", self._at_q, text))

    def _read_key(self, element: Element) -> None:
        fifths = read_integer(element.findtext("key/fifths"))
        if fifths is None or not self.leading:
            return
        self._fifths = max(-14, min(14, fifths))
        mark = WrittenMark("key", self._at_q, element.findtext("key/mode") or "", self._fifths)
        self._bar.marks.append(mark)

    def _read_clefs(self, element: Element) -> None:
        """Remember whether each staff begins with a clef of the left hand's."""
        for clef in element.iterfind("clef"):
            staff = (read_integer(clef.get("number", "1")) or 1) + self.first_staff - 1
            sign = (clef.findtext("sign") or "").strip()
            line = read_integer(clef.findtext("line"))
            self.left_clefs.setdefault(staff, sign == "F" or (sign == "C" and line == 4))

    def _read_direction(self, element: Element) -> None:
        printed_q = self._shifted(element.find("offset"))
        sound_q = self._sound_place(element, printed_q)
        staff = self._staff(element) if element.find("staff") is not None else 0
        bar = self._bar
        tempo = read_tempo_sign(element, printed_q, sound_q)
        if tempo is not None:
            bar.tempos.append(tempo)
        words = words_of(element)
        bar.pedals.extend(read_pedal_signs(element, words, printed_q))
        bar.marks.extend(read_marks(element, words, printed_q, staff))
        found = read_jumps(element, words, at_start=self._reached_q == 0)
        jumps = [jump for jump in found if jump not in bar.jumps[:MAX_JUMPS_IN_BAR]]
        del jumps[max(MAX_JUMPS_IN_BAR - len(bar.jumps), 0) :]
        bar.jumps.extend(jumps)
        bar.marks.extend(WrittenMark(j.kind, printed_q, j.name or j.until) for j in jumps)
        sound = element if element.tag == "sound" else element.find("sound")
        if sound is not None and sound.get("forward-repeat") == "yes":
            bar.repeat_start = True

    def _shifted(self, offset: Element | None) -> Fraction:
        value = read_decimal(offset.text) if offset is not None else None
        return max(self._at_q + (value or 0) / self._divisions, _ZERO)

    def _sound_place(self, element: Element, printed_q: Fraction) -> Fraction:
        """Where a sound takes effect: its own offset, or the direction's if that is to sound."""
        inner = element.find("sound/offset")
        if inner is not None:
            return self._shifted(inner)
        offset = element.find("offset")
        sounds = offset is not None and (element.tag == "sound" or offset.get("sound") == "yes")
        return printed_q if sounds else self._at_q

    def _read_barline(self, element: Element) -> None:
        if not self.leading:
            return
        place = element.get("location", "right")
        if place == "middle" and element.find("repeat") is not None:
            cuts = self.cuts.setdefault(self._index, [])
            if len(cuts) < MAX_CUTS_IN_BAR:
                cuts.append(Cut(self._at_q, element))
            return
        at_q = {"left": _ZERO, "middle": self._at_q}.get(place, self._reached_q)
        read_barline(element, self._bar, at_q, self._following)


def read_numbers_in_order(text: str | None) -> list[int]:
    """The terms of a numerator such as "3+2"."""
    return [read_integer(term) or 0 for term in (text or "").split("+")]
