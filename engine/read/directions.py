"""What stands between the notes: tempo, pedal, words, dynamics, signs that send elsewhere."""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction
from xml.etree.ElementTree import Element

from engine.read.limits import MAX_QPM, MIN_QPM
from engine.read.notes import dotted, type_quarters
from engine.read.quantity import read_decimal, read_first_number, read_numbers
from engine.read.written import Jump, PedalSign, TempoSign, WrittenMark

#: MusicXML pedal types that move the foot, by what the foot does. `continue` and `discontinue`
#: only draw the line on the next system.
_PEDAL_ACTIONS = {
    "start": "start", "sostenuto": "start", "stop": "stop", "change": "change", "resume": "resume",
}  # fmt: skip
_SOUND_PEDALS = {"damper-pedal": "damper", "sostenuto-pedal": "sostenuto", "soft-pedal": "soft"}
_SOFT_DOWN = re.compile(r"\s*(una\s+corda|u\.\s?c\.)", re.IGNORECASE)
_SOFT_UP = re.compile(r"\s*(tre\s+corde|tutte\s+le\s+corde|t\.\s?c\.)", re.IGNORECASE)
_JUMP_WORDS = (
    ("dacapo", re.compile(r"^\W*(d\.\s*c\b|dc\b|da\s+capo)", re.IGNORECASE)),
    ("dalsegno", re.compile(r"^\W*(d\.\s*s\b|ds\b|dal?\s+segno)", re.IGNORECASE)),
    ("tocoda", re.compile(r"^\W*(to|al|alla)\s+coda\W*$", re.IGNORECASE)),
    ("fine", re.compile(r"^\W*fine\W*$", re.IGNORECASE)),
    ("coda", re.compile(r"^\W*coda\W*$", re.IGNORECASE)),
)
_TEXT_MARKS = ("words", "rehearsal")


def words_of(direction: Element) -> str:
    """All words of a direction as one text, in print order."""
    texts = (e.text or "" for e in direction.iterfind("direction-type/words"))
    return " ".join("".join(texts).split())


def read_tempo_sign(direction: Element, at_q: Fraction, sound_at_q: Fraction) -> TempoSign | None:
    """The tempo of a direction: its sound first (quarters a minute), else its metronome mark."""
    sound = direction if direction.tag == "sound" else direction.find("sound")
    metronome = direction.find("direction-type/metronome")
    unit_q, printed, ratio = (None, None, None) if metronome is None else _metronome(metronome)
    sounding = read_decimal(sound.get("tempo")) if sound is not None else None
    if sounding is not None and MIN_QPM <= sounding <= MAX_QPM:
        return TempoSign(sound_at_q, float(sounding), unit_q)
    if printed is not None and MIN_QPM <= printed <= MAX_QPM:
        return TempoSign(at_q, printed, unit_q)
    return TempoSign(at_q, None, unit_q, ratio) if ratio else None


def _metronome(mark: Element) -> tuple[Fraction | None, float | None, Fraction | None]:
    """(beat unit in quarters, quarters a minute, new tempo over old) of a metronome mark."""
    units = _beat_units(mark)
    per_minute = read_first_number(mark.findtext("per-minute"))
    if not units:
        return None, None, None
    if per_minute is not None:
        return units[0], per_minute * float(units[0]), None
    if len(units) == 2:
        return units[1], None, units[1] / units[0]
    return None, None, None


def _beat_units(mark: Element) -> list[Fraction]:
    units: list[Fraction] = []
    dots: list[int] = []
    for element in mark:
        if element.tag == "beat-unit":
            units.append(type_quarters(element.text) or Fraction(1))
            dots.append(0)
        elif element.tag == "beat-unit-dot" and dots:
            dots[-1] += 1
    return [dotted(unit, count) for unit, count in zip(units, dots, strict=True)]


def read_pedal_signs(direction: Element, words: str, at_q: Fraction) -> Iterator[PedalSign]:
    """Printed pedal marks; una corda and tre corde for the soft pedal; else sounding pedals."""
    printed = direction.findall("direction-type/pedal")
    for mark in printed:
        action = _PEDAL_ACTIONS.get(mark.get("type", ""))
        if action:
            kind = "sostenuto" if mark.get("type") == "sostenuto" else "damper"
            yield PedalSign(at_q, action, kind, mark.get("number", "1"))
    if _SOFT_DOWN.match(words):
        yield PedalSign(at_q, "start", "soft", "soft")
    elif _SOFT_UP.match(words):
        yield PedalSign(at_q, "stop", "soft", "soft")
    elif not printed:
        yield from _sounding_pedals(direction, at_q)


def _sounding_pedals(direction: Element, at_q: Fraction) -> Iterator[PedalSign]:
    sound = direction if direction.tag == "sound" else direction.find("sound")
    if sound is None:
        return
    for attribute, kind in _SOUND_PEDALS.items():
        value = sound.get(attribute)
        if value is None:
            continue
        depth = read_decimal(value)
        down = value == "yes" or (depth is not None and depth > 0)
        yield PedalSign(at_q, "start" if down else "stop", kind, f"sound-{kind}")


def read_marks(direction: Element, words: str, at_q: Fraction, staff: int) -> Iterator[WrittenMark]:
    """Words, rehearsal marks, dynamics, wedges and octave lines of a direction."""
    if words:
        yield WrittenMark("words", at_q, words[:300], staff=staff)
    for element in direction.iterfind("direction-type/*"):
        if element.tag == "rehearsal":
            yield WrittenMark("rehearsal", at_q, " ".join((element.text or "").split())[:80])
        elif element.tag == "dynamics":
            yield from read_dynamics(element, at_q, staff)
        elif element.tag == "wedge" and element.get("type") in ("crescendo", "diminuendo", "stop"):
            yield WrittenMark("wedge", at_q, element.get("type", ""), staff=staff)
        elif element.tag == "octave-shift":
            size = int(read_decimal(element.get("size")) or 8)
            kind = element.get("type", "")[:10]
            yield WrittenMark("octave-shift", at_q, kind, value=size, staff=staff)


def read_dynamics(element: Element, at_q: Fraction, staff: int) -> Iterator[WrittenMark]:
    """One mark for each dynamic sign: its letters are its element's name, or its text."""
    for sign in element:
        text = (sign.text or "").strip() if sign.tag == "other-dynamics" else sign.tag
        if text:
            yield WrittenMark("dynamic", at_q, text[:40], staff=staff)


def read_jumps(direction: Element, words: str, at_start: bool) -> Iterator[Jump]:
    """Segno, coda, fine and the jumps, from sound attributes, words and signs.

    `at_start`: nothing of the bar has sounded yet at the place of the direction.
    """
    spoken = next((kind for kind, pattern in _JUMP_WORDS if pattern.search(words)), "")
    until = _until(words)
    sounding = list(_sounding_jumps(direction, until, at_start))
    yield from sounding
    kinds = {jump.kind for jump in sounding}
    if spoken and not kinds:
        yield Jump(spoken, until=until)
    for sign in ("segno", "coda"):
        # A coda sign beside "To Coda" is the place to leave from, not the coda itself.
        if direction.find(f"direction-type/{sign}") is not None and not kinds and not spoken:
            yield Jump(sign)


def _until(words: str) -> str:
    found = re.search(r"al(?:la)?\s+(fine|coda)", words, re.IGNORECASE)
    return found[1].lower() if found else ""


def _sounding_jumps(direction: Element, until: str, at_start: bool) -> Iterator[Jump]:
    sound = direction if direction.tag == "sound" else direction.find("sound")
    if sound is None:
        return
    times = read_numbers(sound.get("time-only"))
    for kind in ("segno", "coda", "fine", "dacapo", "dalsegno", "tocoda"):
        name = sound.get(kind)
        if name and not (kind in ("fine", "dacapo") and name == "no"):
            before = at_start and kind == "tocoda"
            paired = name if kind in ("segno", "coda", "dalsegno", "tocoda") else ""
            yield Jump(kind, paired, until, times, before, sounding=True)
