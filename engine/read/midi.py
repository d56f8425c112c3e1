"""A MIDI file as a written score: bars from its time signatures, notes on a grid, two hands."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections import Counter, defaultdict
from fractions import Fraction
from statistics import mean

from engine.arrangement import Hand
from engine.read.hand_split import Struck, split_hands
from engine.read.limits import (
    DEFAULT_QPM,
    MAX_QPM,
    MAX_SCORE_Q,
    MAX_UNFOLDED_BARS,
    MIN_QPM,
)
from engine.read.midi_events import MidiEvents, MidiNote, Signature, read_midi_events
from engine.read.quantise import UNIT, Grid
from engine.read.report import Report
from engine.read.written import (
    PedalSign,
    TempoSign,
    WrittenBar,
    WrittenMark,
    WrittenNote,
    WrittenScore,
)

_RIGHT = re.compile(r"right|\br\.?\s?h\b|treble|upper|\brechts?\b|droite|destra", re.IGNORECASE)
_LEFT = re.compile(r"left|\bl\.?\s?h\b|bass|lower|\blinks?\b|gauche|sinistra", re.IGNORECASE)
#: What holds where a file gives no time signature (Standard MIDI Files 1.0).
_COMMON_TIME = Signature(0, 4, 4)


def read_midi(data: bytes, name: str, report: Report) -> WrittenScore:
    """Read a MIDI file of format 0 or 1 as a score.

    Ids are n1, n2 ... by (tick, pitch). Spelling is made up from key signature and pitch.

    Raises:
        ScoreError: it cannot be read, holds no notes, or is too long.
    """
    events = read_midi_events(data, report)
    if not events.notes:
        raise report.refusal("the MIDI file holds no notes", "give one with notes for piano")
    end_q = Fraction(max(n.off for n in events.notes), events.ticks_per_quarter)
    if end_q > MAX_SCORE_Q:
        raise report.refusal(f"the score is longer than {MAX_SCORE_Q} quarters", "correct it")
    grid = Grid((n.on for n in events.notes), events.ticks_per_quarter)
    bars = _Bars(events, end_q, report)
    _place_notes(events, grid, bars)
    _place_signs(events, bars, report)
    return WrittenScore(_title(events, name), bars.bars, spelled=False, default_qpm=DEFAULT_QPM)


class _Bars:
    """The bars of the file and the way from a moment to its bar."""

    def __init__(self, events: MidiEvents, end_q: Fraction, report: Report) -> None:
        self.bars: list[WrittenBar] = []
        self.starts_q: list[Fraction] = []
        #: The same as floats, for a search in a tenth of the time; none of the moments that can be
        #: written lie so near to each other that they become one.
        self._starts: list[float] = []
        self.signatures = _signatures_q(events)
        self.changes_q = [q for q, _ in self.signatures]
        now_q = Fraction(0)
        while now_q < end_q or not self.bars:
            bar = self._next_bar(now_q)
            self.starts_q.append(now_q)
            self._starts.append(float(now_q))
            now_q += bar.duration_q
            if len(self.bars) > MAX_UNFOLDED_BARS:
                raise report.refusal(
                    f"the file has more than {MAX_UNFOLDED_BARS} bars", "split it into several"
                )
        self._settle_pickup()

    def _next_bar(self, now_q: Fraction) -> WrittenBar:
        at = bisect_right(self.changes_q, now_q) - 1
        sign = self.signatures[at][1] if at >= 0 else _COMMON_TIME
        bar = WrittenBar(str(len(self.bars) + 1), beats=sign.beats, beat_unit=sign.unit)
        # A new signature inside a bar begins a new bar there.
        following = self.changes_q[at + 1] if at + 1 < len(self.changes_q) else None
        length_q = bar.signature_q
        bar.duration_q = length_q if following is None else min(length_q, following - now_q)
        last = self.bars[-1] if self.bars else None
        if last is None or (last.beats, last.beat_unit) != (sign.beats, sign.unit):
            bar.marks.append(WrittenMark("time", Fraction(0), f"{sign.beats}/{sign.unit}"))
        self.bars.append(bar)
        return bar

    def _settle_pickup(self) -> None:
        """A short first bar under a signature of its own is how programs write a pickup."""
        if len(self.bars) < 2 or self.bars[0].signature_q >= self.bars[1].signature_q:
            return
        first, second = self.bars[0], self.bars[1]
        first.beats, first.beat_unit = second.beats, second.beat_unit
        first.lead_q = first.signature_q - first.duration_q
        first.marks[:], second.marks[:] = second.marks, []
        for number, bar in enumerate(self.bars):
            bar.number = str(number)

    def at(self, moment_q: Fraction) -> tuple[WrittenBar, Fraction]:
        """The bar that holds a moment, and the moment's place in it."""
        index = max(bisect_right(self._starts, float(moment_q)) - 1, 0)
        return self.bars[index], moment_q - self.starts_q[index]


def _signatures_q(events: MidiEvents) -> list[tuple[Fraction, Signature]]:
    """Signatures by quarter; of several at one moment the last counts."""
    by_place = {Fraction(s.tick, events.ticks_per_quarter): s for s in events.signatures}
    return sorted(by_place.items(), key=lambda entry: entry[0])


def _place_notes(events: MidiEvents, grid: Grid, bars: _Bars) -> None:
    places = [grid.place(n.on) for n in events.notes]
    onsets_q = [Fraction(place, UNIT) for place in places]
    hands = _hands(events, places)
    lengths_q = _lengths(events.notes, grid, places, hands)
    names = _spelling([n.pitch for n in events.notes], onsets_q, events)
    for i, (note, (step, alter, octave)) in enumerate(zip(events.notes, names, strict=True)):
        bar, at_q = bars.at(onsets_q[i])
        right = hands[i] == "right"
        bar.notes.append(
            WrittenNote(
                f"n{i + 1}", at_q, lengths_q[i], note.pitch, step, alter, octave,
                staff=1 if right else 2, voice="1" if right else "2", hand=hands[i],
            )
        )  # fmt: skip


def _lengths(
    notes: list[MidiNote], grid: Grid, places: list[int], hands: list[Hand]
) -> list[Fraction]:
    by_hand: dict[Hand, list[int]] = defaultdict(list)
    for place, hand in zip(places, hands, strict=True):
        by_hand[hand].append(place)
    return [
        grid.duration_q(note.on, note.off, by_hand[hand])
        for note, hand in zip(notes, hands, strict=True)
    ]


def _hands(events: MidiEvents, places: list[int]) -> list[Hand]:
    """Hands from the tracks (or channels) where two hold notes; else from the notes themselves."""
    sources = sorted({n.source for n in events.notes})
    if len(sources) == 2:
        hand_of = dict(zip(sources, _hands_of_two(sources, events), strict=True))
        return [hand_of[n.source] for n in events.notes]
    named = {source: _named_hand(events.names.get(source[0], "")) for source in sources}
    if len(sources) > 1 and all(named.values()):
        return [named[n.source] or "right" for n in events.notes]
    struck = [
        Struck(place / UNIT, n.off / events.ticks_per_quarter, n.pitch)
        for n, place in zip(events.notes, places, strict=True)
    ]
    order = sorted(range(len(struck)), key=lambda i: (struck[i].onset_q, struck[i].pitch))
    found = split_hands([struck[i] for i in order])
    hands: list[Hand] = ["right"] * len(struck)
    for i, hand in zip(order, found, strict=True):
        hands[i] = hand
    return hands


def _named_hand(name: str) -> Hand | None:
    if _LEFT.search(name):
        return "left"
    return "right" if _RIGHT.search(name) else None


def _hands_of_two(sources: list[tuple[int, int]], events: MidiEvents) -> tuple[Hand, Hand]:
    """By name where one is named; else the higher of the two is the right hand's."""
    first, second = (_named_hand(events.names.get(track, "")) for track, _ in sources)
    if first != second and (first or second):
        left_first = first == "left" or second == "right"
    else:
        heights = [mean(n.pitch for n in events.notes if n.source == s) for s in sources]
        left_first = heights[0] < heights[1]
    return ("left", "right") if left_first else ("right", "left")


def _spelling(
    pitches: list[int], onsets_q: list[Fraction], events: MidiEvents
) -> list[tuple[str, int, int]]:
    # Imported here, as the form is: the reader is imported at start-up.
    from engine.form.spelling import spell_pitches

    quarter = events.ticks_per_quarter
    signatures = [(Fraction(tick, quarter), fifths) for tick, fifths, _ in events.fifths]
    return spell_pitches(pitches, onsets_q, signatures or None)


def _place_signs(events: MidiEvents, bars: _Bars, report: Report) -> None:
    def place(tick: int) -> tuple[WrittenBar, Fraction]:
        return bars.at(Fraction(tick, events.ticks_per_quarter))

    for tick, qpm in events.tempos:
        bar, at_q = place(tick)
        if MIN_QPM <= qpm <= MAX_QPM:
            bar.tempos.append(TempoSign(at_q, round(qpm, 3)))
        else:
            report.put_up_with(bar.number, f"a tempo of {qpm:.0f} quarters a minute is left out")
    for tick, fifths, mode in events.fifths:
        bar, at_q = place(tick)
        bar.marks.append(WrittenMark("key", at_q, mode, fifths))
    _carry_keys(bars.bars)
    for tick, text in events.markers:
        bar, at_q = place(tick)
        bar.marks.append(WrittenMark("rehearsal", at_q, text))
    for tick, kind, down in events.pedals:
        bar, at_q = place(tick)
        bar.pedals.append(PedalSign(at_q, "start" if down else "stop", kind, kind))


def _carry_keys(bars: list[WrittenBar]) -> None:
    fifths = 0
    for bar in bars:
        fifths = next((m.value for m in bar.marks if m.kind == "key" and not m.at_q), fifths)
        bar.fifths = fifths


def _title(events: MidiEvents, name: str) -> str:
    """The name of a first track without notes, as format 1 has it; else the file's."""
    sounding = Counter(n.source[0] for n in events.notes)
    named = events.names.get(0, "")
    return named if named and 0 not in sounding else name
