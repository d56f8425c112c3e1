"""Names of pitches: MIDI numbers and spellings to text. C4 is MIDI 60."""

from __future__ import annotations

LETTER_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
SIGNS = {-3: "bbb", -2: "bb", -1: "b", 0: "", 1: "#", 2: "##", 3: "###"}
PRINTED_SIGNS = {"bbb": "𝄫♭", "bb": "𝄫", "b": "♭", "##": "𝄪", "###": "𝄪♯", "#": "♯"}
_PLAIN = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


def midi_number(step: str, alter: int, octave: int) -> int:
    """The key of a spelled pitch; the octave follows the letter (Cb4 is 59, B#3 is 60)."""
    return 12 * (octave + 1) + LETTER_SEMITONES[step] + alter


def pitch_name(pitch: int) -> str:
    """A plain name for a key where no page says how to spell it."""
    return f"{_PLAIN[pitch % 12]}{pitch // 12 - 1}"


def printed(name: str) -> str:
    """A name with the signs as printed: Bbb4 becomes B𝄫4."""
    letter, rest = name[:1], name[1:]
    sign = rest.rstrip("-0123456789")
    return letter + PRINTED_SIGNS.get(sign, sign) + rest[len(sign) :]
