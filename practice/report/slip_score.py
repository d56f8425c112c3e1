"""The score with its slips written in, as MusicXML for any notation program."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree

from defusedxml.ElementTree import fromstring

from engine.arrangement import Arrangement
from engine.findings import Slip
from engine.review import PassReview

#: Colours of heads, by what befell them; the words say it too.
WRONG, MISSING = "#7A1F5C", "#9A3D12"


def mark_slips(text: str, arrangement: Arrangement, one: PassReview) -> str:
    """The score with the heads of slips coloured and their names above.

    Args:
        text: MusicXML in which every note has its id (`engine.read.engravable_text`).
    """
    root = fromstring(text.encode())
    slips = _by_note(arrangement, one)
    for measure in root.iter("measure"):
        for note in list(measure.findall("note")):
            told = slips.get(note.get("id", ""), [])
            if not told:
                continue
            note.set("color", MISSING if all(s.played is None for s, _ in told) else WRONG)
            at = list(measure).index(_first_of_chord(measure, note))
            measure.insert(at, _words("; ".join(_say(s, time) for s, time in told), note))
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(
        root, encoding="unicode"
    )


def _by_note(arrangement: Arrangement, one: PassReview) -> dict[str, list[tuple[Slip, int]]]:
    """(slip, which time through) for each written note; added notes hang on the last before."""
    out: dict[str, list[tuple[Slip, int]]] = {}
    for slip, score in _placed(one):
        note = arrangement.notes[score]
        out.setdefault(note.note_id, []).append((slip, note.time))
    return out


def _placed(one: PassReview) -> Iterator[tuple[Slip, int]]:
    before: dict[int, int] = {}
    last = None
    for finding in one.findings:
        last = finding.score if finding.what == "right" else last
        if finding.played is not None and last is not None:
            before[finding.played] = last
    for slip in one.slips:
        score = slip.score if slip.score is not None else before.get(_index(slip))
        if score is not None:
            yield slip, score


def _index(slip: Slip) -> int:
    return slip.played if slip.played is not None else -1


def _first_of_chord(measure: ElementTree.Element, note: ElementTree.Element) -> ElementTree.Element:
    """The note that begins the chord, before which words may stand."""
    notes = measure.findall("note")
    k = notes.index(note)
    while k > 0 and notes[k].find("chord") is not None:
        k -= 1
    return notes[k]


def _say(slip: Slip, time: int) -> str:
    again = f" (time {time})" if time > 1 else ""
    heard = f": {slip.heard}" if slip.heard else ""
    expected = f" for {slip.expected}" if slip.heard and slip.expected else ""
    return f"{slip.kind}{heard}{expected}{again}"


def _words(text: str, note: ElementTree.Element) -> ElementTree.Element:
    direction = ElementTree.Element("direction", {"placement": "above"})
    kind = ElementTree.SubElement(direction, "direction-type")
    words = ElementTree.SubElement(kind, "words", {"color": WRONG, "font-size": "7"})
    words.text = text
    staff = note.findtext("staff")
    if staff:
        ElementTree.SubElement(direction, "staff").text = staff
    return direction
