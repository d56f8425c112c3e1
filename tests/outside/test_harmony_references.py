"""Chord names against music21: its chord symbols, and Bach chorales analysed in Roman numerals.

The analyses are music21's RomanText files of the chorales in its corpus (Riemenschneider's
numbers), one numeral a beat or so. Ours names what sounds, an analyst what is meant: passing
notes, pedals and suspensions make the rest.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

import music21
import pytest

from engine.form.fifths import place_from_text, text_at
from engine.form.harmony import QUALITIES, find_harmonies
from tests.form.pages import page

#: Our qualities by music21's chord kinds (those with a name of their own in MusicXML's list).
KINDS = {
    "major": "major",
    "minor": "minor",
    "dominant-seventh": "dominant seventh",
    "minor-seventh": "minor seventh",
    "major-seventh": "major seventh",
    "half-diminished-seventh": "half-diminished",
    "diminished": "diminished",
    "diminished-seventh": "diminished seventh",
    "augmented": "augmented",
    "minor-major-seventh": "minor with major seventh",
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("root", ["C", "F#", "Bb", "Eb", "Cb"])
def test_chord_symbols_in_root_position_are_named_as_music21_builds_them(
    kind: str, root: str
) -> None:
    symbol = music21.harmony.ChordSymbol(root=root.replace("b", "-"), kind=kind)
    written = [(0, 4, p.name.replace("-", "b") + str(p.octave)) for p in symbol.pitches]
    (harmony,) = find_harmonies(page(left=written), ())
    assert (harmony.root, harmony.quality) == (root, KINDS[kind])


def test_our_chords_are_what_music21_calls_them() -> None:
    for quality, (places, _) in QUALITIES.items():
        theirs = next((k for k, v in KINDS.items() if v == quality), None)
        if theirs is None:
            continue
        names = [text_at(place_from_text("C") + p).replace("b", "-") for p in places]
        chord = music21.chord.Chord(names)
        symbol = music21.harmony.ChordSymbol(root="C", kind=theirs)
        assert set(chord.pitchClasses) == set(symbol.pitchClasses)


#: Chorales with a Roman-numeral analysis in the corpus, by number.
CHORALES = (1, 2, 3, 5, 8)


def read_roots(number: int) -> list[tuple[Fraction, int, str]]:
    """(onset, pitch class of the root, quality) of an analysis."""
    analysis = music21.corpus.parse(f"bach/choraleAnalyses/riemenschneider{number:03d}.rntxt")
    out = []
    for numeral in analysis.flatten().getElementsByClass("RomanNumeral"):
        onset = Fraction(numeral.offset).limit_denominator(16)
        out.append((onset, numeral.root().pitchClass, numeral.quality))
    return out


def read_chorale(number: int) -> list[tuple[float, float, str]] | None:
    """Notes of the chorale."""
    found = music21.corpus.chorales.ChoraleListRKBWV().byRiemenschneider.get(number)
    if not found:
        return None
    score = music21.corpus.parse(f"bach/bwv{found['bwv']}")
    written = []
    for part in score.parts:
        for note in part.stripTies().flatten().notes:
            name = note.pitch.name.replace("-", "b") + str(note.pitch.octave)
            written.append((Fraction(note.offset), Fraction(note.quarterLength), name))
    return written


def test_roots_agree_with_roman_numeral_analyses() -> None:
    """The figure over twenty chorales, and the disagreements sorted, are in `bench_harmony.py`."""
    agree: Counter[str] = Counter()
    for number in CHORALES:
        written = read_chorale(number)
        if written is None:
            continue
        harmonies = find_harmonies(page(left=written), ())
        for onset, root, _ in read_roots(number):
            here = [h for h in harmonies if h.from_q <= onset < h.to_q]
            if here:
                ours = 7 * place_from_text(here[0].root) % 12
                agree["same" if ours == root else "other"] += 1
    total = sum(agree.values())
    assert total >= 200
    assert agree["same"] / total >= 0.75, f"{agree['same']} of {total} numerals"
