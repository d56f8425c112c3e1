"""What a note of the line is to its harmony, in words; and the scale the line uses over it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from engine.arrangement import Arrangement, Harmony, ScoreNote
from engine.form.fifths import degree_words, mode_of, place_from_text, place_of
from engine.form.harmony import QUALITIES


@dataclass(frozen=True, slots=True)
class LineNote:
    """One line note and what it does.

    Attributes:
        note: its index. harmony: index of its harmony in the form, -1 for none.
        words: "flat fifth", "major third over a minor chord" ...; "" without a harmony.
    """

    note: int
    harmony: int
    words: str


def harmony_at(harmonies: Sequence[Harmony], onset_q: Fraction | float) -> int:
    """Index of the harmony that holds a moment, -1 for none."""
    k = bisect_right(harmonies, onset_q, key=lambda h: h.from_q) - 1
    return k if k >= 0 and onset_q < harmonies[k].to_q else -1


def function_words(note: ScoreNote, harmony: Harmony) -> str:
    """What a note is above a harmony's root, said as a player would.

    The spelling decides: B double flat over E flat is the flat fifth, A the sharp eleventh.
    """
    step = place_of(note.step, note.alter) - place_from_text(harmony.root)
    words = degree_words(step)
    third = next((p for p in QUALITIES[harmony.quality][0] if p in (4, -3)), None)
    if step == 4 and third == -3:
        return "major third over a minor chord"
    if step == -3 and third == 4:
        return "minor third over a major chord"
    return words


def line_functions(arrangement: Arrangement) -> tuple[LineNote, ...]:
    """The function of every line note, with what it was in the harmony it is held over from."""
    form = arrangement.form
    out = []
    for i in form.line:
        note = arrangement.notes[i]
        k = harmony_at(form.harmonies, note.onset_q)
        words = function_words(note, form.harmonies[k]) if k >= 0 else ""
        out.append(LineNote(i, k, words + _held_over(note, form.harmonies, k)))
    return tuple(out)


def _held_over(note: ScoreNote, harmonies: Sequence[Harmony], k: int) -> str:
    """Where a note sounds on into the next harmony: what it becomes there."""
    if k < 0 or k + 1 >= len(harmonies):
        return ""
    after = harmonies[k + 1]
    if note.onset_q + note.duration_q <= after.from_q or after.from_q != harmonies[k].to_q:
        return ""
    then, now = function_words(note, after), function_words(note, harmonies[k])
    return f", held to become the {then} of the next" if then != now else ""


def held_over(arrangement: Arrangement) -> dict[int, list[tuple[int, str]]]:
    """Line notes held into each harmony that has any, by its index.

    As (note, "eleventh, held over from the ninth of the chord before").
    """
    harmonies = arrangement.form.harmonies
    out: dict[int, list[tuple[int, str]]] = {}
    for i in arrangement.form.line:
        note = arrangement.notes[i]
        k = max(1, bisect_right(harmonies, note.onset_q, key=lambda h: h.from_q))
        while k < len(harmonies) and harmonies[k].from_q < note.onset_q + note.duration_q:
            now, then = (function_words(note, harmonies[j]) for j in (k, k - 1))
            words = f"{now}, held over from the {then} of the chord before"
            out.setdefault(k, []).append((i, words))
            k += 1
    return out


def mode_over(arrangement: Arrangement, k: int) -> tuple[str, ...]:
    """The modes on the root of harmony `k` that hold its notes and the line's, brightest first.

    Empty where no mode holds them all.
    """
    harmony = arrangement.form.harmonies[k]
    root = place_from_text(harmony.root)
    places = {root + p for p in QUALITIES[harmony.quality][0]}
    places |= {place_from_text(c.rsplit(" ", 1)[1]) for c in harmony.colours}
    line = [arrangement.notes[i] for i in arrangement.form.line]
    places |= {
        place_of(n.step, n.alter) for n in line if harmony.from_q <= n.onset_q < harmony.to_q
    }
    return mode_of(sorted(places), root)


@lru_cache(maxsize=4096)
def chord_places(harmony: Harmony) -> tuple[int, ...]:
    """The chord's own notes as places on the line of fifths."""
    root = place_from_text(harmony.root)
    return tuple(root + p for p in QUALITIES[harmony.quality][0])


def common_and_moving(a: Harmony, b: Harmony) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Places that two harmonies share, and places of the second that are new."""
    first, second = set(chord_places(a)), set(chord_places(b))
    return tuple(sorted(first & second)), tuple(sorted(second - first))
