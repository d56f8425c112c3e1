"""Signs played out: which extra notes a trill, mordent or turn brings, and grace notes' time."""

from __future__ import annotations

from dataclasses import replace

from engine.arrangement import ScoreNote
from practice.player.slips import STEP_OF, key_alter
from practice.player.stroke import Stroke

#: A grace note takes this long, before the beat (an ordinary acciaccatura; common practice).
GRACE_S = 0.075
#: For each sign of fixed length: steps from the main note, and which of them is the main note.
SHAPES: dict[str, tuple[tuple[int, ...], int]] = {
    "mordent": ((0, -1, 0), 0),
    "inverted-mordent": ((0, 1, 0), 0),
    "turn": ((1, 0, -1, 0), 1),
    "inverted-turn": ((-1, 0, 1, 0), 1),
    "schleifer": ((-2, -1, 0), 2),
}
LETTERS = "CDEFGAB"


def realise(stroke: Stroke, note: ScoreNote, fifths: int, per_s: float) -> list[Stroke]:
    """The strokes of a note with its sign: one is the written note, the rest its ornament."""
    gap_s = 1.0 / per_s
    shape, main = _find_shape(note.ornament, stroke.release_s - stroke.onset_s, gap_s)
    out = []
    for k, step in enumerate(shape):
        at_s = stroke.onset_s + k * gap_s
        until_s = at_s + gap_s if k < len(shape) - 1 else max(stroke.release_s, at_s + gap_s)
        pitch = stroke.pitch if step == 0 else step_pitch(note, step, fifths)
        beat = replace(stroke, onset_s=at_s, release_s=until_s, pitch=pitch)
        out.append(beat if k == main else replace(beat, what="ornament"))
    return out


def _find_shape(ornament: str, length_s: float, gap_s: float) -> tuple[tuple[int, ...], int]:
    """Steps in order, and the place of the written note among them.

    A trill here begins on the main note, fills the note and ends on the main note.
    """
    if ornament == "trill":
        pairs = max(int(length_s / gap_s - 1) // 2, 1)
        return (0, 1) * pairs + (0,), 0
    if ornament == "tremolo":
        return (0,) * max(int(length_s / gap_s), 1), 0
    shape, main = SHAPES.get(ornament, ((0,), 0))
    return (shape, main) if len(shape) * gap_s <= length_s else ((0,), 0)


def step_pitch(note: ScoreNote, step: int, fifths: int) -> int:
    """The pitch so many letters above (below) a note, as the key signature has it.

    The note's own where MIDI has no such key.
    """
    place = LETTERS.index(note.step) + step
    letter = LETTERS[place % 7]
    octave = note.octave + place // 7
    pitch = 12 * (octave + 1) + STEP_OF[letter] + key_alter(fifths, letter)
    return pitch if 0 <= pitch <= 127 else note.pitch
