"""The notes of one staff in one bar sorted into voices that can be printed one after another."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction

from engine.read.written import WrittenNote

#: Voices printed on a staff; what does not fit is cut short in print.
MAX_VOICES = 2


@dataclass(frozen=True, slots=True)
class Head:
    """A note head of a bar: the note, whether it is tied from before and on to after.

    It is printed to `end_q`; the note sounds to `sounds_to_q`, perhaps beyond the bar.
    """

    note: WrittenNote
    at_q: Fraction
    end_q: Fraction
    sounds_to_q: Fraction
    tied_from: bool = False
    tied_on: bool = False


@dataclass(slots=True)
class Chord:
    """Heads that begin and end together."""

    at_q: Fraction
    end_q: Fraction
    heads: list[Head] = field(default_factory=list)


def sort_into_voices(heads: list[Head]) -> list[list[Chord]]:
    """One or two voices, each a list of chords that do not overlap.

    Heads that begin together and end together are a chord; the longest of those that begin
    together come first. A chord for which no voice is free cuts the one before it short.
    """
    voices: list[list[Chord]] = [[] for _ in range(MAX_VOICES)]
    for chord in _chords(heads):
        free = [v for v in voices if not v or v[-1].end_q <= chord.at_q]
        if free:
            free[0].append(chord)
            continue
        voice = min(voices, key=lambda v: v[-1].end_q)
        last = voice[-1]
        if last.at_q == chord.at_q:
            last.heads.extend(replace(h, tied_on=last.heads[0].tied_on) for h in chord.heads)
        else:
            last.end_q = chord.at_q
            last.heads = [replace(head, tied_on=False) for head in last.heads]
            voice.append(chord)
    return [voice for voice in voices if voice]


def _chords(heads: list[Head]) -> list[Chord]:
    chords: dict[tuple[Fraction, Fraction], Chord] = {}
    for head in heads:
        key = (head.at_q, head.end_q)
        chords.setdefault(key, Chord(*key)).heads.append(head)
    return sorted(chords.values(), key=lambda c: (c.at_q, -c.end_q))
