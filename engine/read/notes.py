"""One MusicXML <note> element: pitch, ties, ornaments, fingering."""

from __future__ import annotations

from fractions import Fraction
from xml.etree.ElementTree import Element

from engine.read.quantity import read_decimal, read_integer
from engine.read.report import Report

_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_TYPES_Q = {
    "maxima": Fraction(32), "long": Fraction(16), "breve": Fraction(8), "whole": Fraction(4),
    "half": Fraction(2), "quarter": Fraction(1), "eighth": Fraction(1, 2),
    "16th": Fraction(1, 4), "32nd": Fraction(1, 8), "64th": Fraction(1, 16),
    "128th": Fraction(1, 32), "256th": Fraction(1, 64), "512th": Fraction(1, 128),
    "1024th": Fraction(1, 256),
}  # fmt: skip
_ORNAMENTS = {
    "trill-mark": "trill", "shake": "trill", "wavy-line": "trill", "mordent": "mordent",
    "inverted-mordent": "inverted-mordent", "turn": "turn", "delayed-turn": "turn",
    "vertical-turn": "turn", "inverted-turn": "inverted-turn",
    "delayed-inverted-turn": "inverted-turn", "inverted-vertical-turn": "inverted-turn",
    "tremolo": "tremolo", "schleifer": "schleifer", "haydn": "other", "other-ornament": "other",
}  # fmt: skip


def type_quarters(name: str | None) -> Fraction | None:
    """Length in quarters of a note type such as "eighth"."""
    return _TYPES_Q.get((name or "").strip())


def dotted(length_q: Fraction, dots: int) -> Fraction:
    """A note value with its dots: each adds half of what the one before added."""
    return length_q * (2 - Fraction(1, 2 ** min(dots, 10)))


def read_pitch(pitch: Element, report: Report, bar: str) -> tuple[int, str, int, int]:
    """(MIDI number, step, alter, octave) of a <pitch> element.

    Raises:
        ScoreError: no such pitch, or one between the keys of a piano.
    """
    step = (pitch.findtext("step") or "").strip().upper()
    octave = read_integer(pitch.findtext("octave"))
    if step not in _SEMITONES or octave is None:
        raise report.refusal("a note has no proper pitch", "export the score afresh", bar)
    alter_text = pitch.findtext("alter")
    alter = read_decimal(alter_text) if alter_text and alter_text.strip() else Fraction(0)
    if alter is None or alter.denominator != 1:
        raise report.refusal(
            f"{step}{octave} is altered by {str(alter_text).strip()[:12]} semitones",
            "a piano has no microtones: write the nearest key",
            bar,
        )
    midi = 12 * (octave + 1) + _SEMITONES[step] + int(alter)
    if not 0 <= midi <= 127 or abs(alter) > 3:
        raise report.refusal(
            f"{step}{octave} altered by {int(alter)} is no key of a piano", "", bar
        )
    return midi, step, int(alter), octave


def written_quarters(note: Element) -> Fraction | None:
    """Length from type, dots and tuplet, for a note that has no duration."""
    length_q = type_quarters(note.findtext("type"))
    if length_q is None:
        return None
    length_q = dotted(length_q, len(note.findall("dot")))
    actual = read_integer(note.findtext("time-modification/actual-notes"))
    normal = read_integer(note.findtext("time-modification/normal-notes"))
    return length_q * Fraction(normal, actual) if actual and normal else length_q


def read_ties(note: Element) -> tuple[bool, bool]:
    """(a tie ends here, a tie begins here): from the sounding ties, else the printed ones."""
    ties = note.findall("tie") or note.findall("notations/tied")
    kinds = {t.get("type") for t in ties}
    return "stop" in kinds or "continue" in kinds, "start" in kinds or "continue" in kinds


def read_ornament(notations: list[Element]) -> str:
    """The first ornament sign, by our names; "" if none. The end of a wavy line counts too."""
    for group in notations:
        for sign in group.iterfind("ornaments/*"):
            name = _ORNAMENTS.get(sign.tag)
            if name and (read_integer(sign.text) != 0 or sign.tag != "tremolo"):
                return name
    return ""


def read_fingering(notations: list[Element]) -> str:
    """The fingering as printed, a change of finger as "1-2"; other suggestions are left out."""
    found = [
        (sign.text or "").strip()
        for group in notations
        for sign in group.iterfind("technical/fingering")
        if sign.get("alternate") != "yes"
    ]
    return "-".join(text for text in found if text)[:20]
