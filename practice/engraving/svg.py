"""Verovio's SVG of one system: read its positions, colour its ink by hand.

The picture is drawn in three pure colours, one a kind of ink (red the right hand's notes, green
the left hand's, blue all the rest), so that the window can tint each kind when it shows them.
Verovio's inner units are a hundred and eightieth of a staff space.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from practice.engraving.system import EngravedBar, EngravedSystem, Head, Staff

UNITS_PER_SPACE = 180
#: Text is at least two spaces: fourteen pixels where a space has the smallest usual size, seven.
LEAST_TEXT_UNITS = 2 * UNITS_PER_SPACE
RIGHT_INK, LEFT_INK, PAGE_INK = "#ff0000", "#00ff00", "#0000ff"

_SVG = "{http://www.w3.org/2000/svg}"
_HREF = "{http://www.w3.org/1999/xlink}href"
_PLACE = re.compile(r"translate\((-?[\d.]+),\s*(-?[\d.]+)\)(?:\s*scale\((-?[\d.]+))?")
_LINE = re.compile(r"M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+) (-?[\d.]+)")
#: Width in spaces at full size of the heads of SMuFL: double whole, whole, half, black.
_HEAD_WIDTH = {"E0A0": 2.4, "E0A2": 1.69, "E0A3": 1.26, "E0A4": 1.26}
_ACCIDENTAL_REACH = 1.3  # spaces above and below a head in which an accidental is beside it
_FULL_SIZE = 0.72
_EDGE = 30  # inner units that stay free at the left edge
#: What lies beside a note and follows its hand's colour.
_NOTE_KINDS = {"note", "chord", "beam", "tuplet", "rest", "mRest", "fTrem", "bTrem", "graceGrp"}
_BOLD, _ITALIC = {"font-weight": "bold"}, {"font-style": "italic"}
_TEXT_STYLES = {
    "ending": _BOLD, "fing": _BOLD, "reh": _BOLD, "tempo": _BOLD, "dir": _ITALIC,
    "dynam": _ITALIC, "mNum": _ITALIC, "label": {"font-weight": "normal"},
}  # fmt: skip
_OUTLINED = {f"{_SVG}{name}" for name in ("ellipse", "path", "polygon", "polyline", "rect")}
_HANGING_KINDS = {"slur", "tie", "fing", "trill", "mordent", "turn", "arpeg", "fermata"}


@dataclass(frozen=True, slots=True)
class _Sign:
    x: float
    y: float
    size: float
    glyph: str


def parse_svg(text: str) -> ET.Element:
    """The tree of verovio's SVG, with its prefixes kept for writing."""
    ET.register_namespace("", "http://www.w3.org/2000/svg")
    ET.register_namespace("xlink", "http://www.w3.org/1999/xlink")
    return ET.fromstring(text)  # our own engraver's output, never the user's file


def read_system(root: ET.Element, index: int, first_bar: int) -> EngravedSystem:
    """Positions of everything the window needs, in spaces."""
    inner = _inner(root)
    _, _, width, height = (float(v) for v in inner.get("viewBox", "").split())
    at = _margin(inner)
    measures = _of_class(inner, "measure")
    bars = [_read_bar(m, first_bar + k, at[0]) for k, m in enumerate(measures)]
    heads: dict[str, Head] = {}
    rests: dict[str, tuple[float, float]] = {}
    for measure in measures:
        for number, staff in enumerate(_of_class(measure, "staff")):
            heads |= _read_heads(staff, number, at)
            rests |= _read_rests(staff, at)
    staves = (
        tuple(_read_staff(s, at[1]) for s in _of_class(measures[0], "staff")) if measures else ()
    )
    return EngravedSystem(
        index, width / UNITS_PER_SPACE, height / UNITS_PER_SPACE, staves, tuple(bars), heads, rests
    )


def colour_by_hand(root: ET.Element, left_hand: Collection[str]) -> None:
    """Give every kind of ink its colour, in place. `left_hand`: ids of the left hand's notes."""
    left = set(left_hand)
    inner = _inner(root)
    _tint(inner, PAGE_INK)
    for measure in _of_class(inner, "measure"):
        for number, staff in enumerate(_of_class(measure, "staff")):
            for layer in _of_class(staff, "layer"):
                _tint(layer, LEFT_INK if number else RIGHT_INK)
                _colour_notes(layer, left)
    for thing in inner.iter(f"{_SVG}g"):  # continued from the line before, some stand outside bars
        start = thing.get("data-startid", "")
        if start and _kind(thing) in _HANGING_KINDS:
            _tint(thing, LEFT_INK if start.lstrip("#") in left else RIGHT_INK)


def keep_inside(root: ET.Element) -> None:
    """Move rehearsal marks that overhang the left edge of the page to the right, in place."""
    inner = _inner(root)
    edge = _EDGE - _margin(inner)[0]
    for mark in _of_class(inner, "reh"):
        left = min((float(r.get("x", 0)) for r in mark.iter(f"{_SVG}rect")), default=edge)
        if left < edge:
            mark.set("transform", f"translate({edge - left:.0f}, 0)")


def write_out_styles(root: ET.Element) -> None:
    """Put what verovio's style sheet says onto the elements, in place: twice as fast to draw.

    The sheet outlines every path, those of the glyphs too, which need none.
    """
    for sheet in [e for e in root if e.tag == f"{_SVG}style"]:
        root.remove(sheet)
    for path in root.iterfind(f"{_SVG}defs//{_SVG}path"):
        path.set("stroke", "none")
    inner = _inner(root)
    for parent in list(inner.iter(f"{_SVG}g")):
        for child in [c for c in parent if "placeholder" in (c.get("class") or "")]:
            if not len(child.findall(f".//{_SVG}g")):
                parent.remove(child)
        for name, value in _TEXT_STYLES.get(_kind(parent), {}).items():
            parent.set(name, value)
    for element in inner.iter():
        if element.tag in _OUTLINED:
            element.set("stroke", "currentColor")


def enlarge_bar_numbers(root: ET.Element) -> None:
    """Set bar numbers no smaller than other small text, in place: they are read from the bench."""
    for number in _of_class(_inner(root), "mNum"):
        for text in number.iter(f"{_SVG}tspan"):
            size = float(text.get("font-size", "0px").removesuffix("px"))
            if 0 < size < LEAST_TEXT_UNITS:
                text.set("font-size", f"{LEAST_TEXT_UNITS}px")


def snap_staff_lines(root: ET.Element, px_per_space: float) -> None:
    """Put every staff line on the middle of a row of pixels, in place.

    The whole picture moves by less than a pixel for the first staff; the lines of the others move
    by at most half of one. Without it lines come out now black, now grey.
    """
    inner = _inner(root)
    unit = UNITS_PER_SPACE / px_per_space
    staves = _of_class(inner, "staff")
    if not staves:
        return
    margin_x, margin_y = _margin(inner)
    first = _staff_lines(staves[0])[0][1]
    top = _snapped(first + margin_y, unit) - first
    for group in _of_class(inner, "page-margin"):
        group.set("transform", f"translate({margin_x}, {top:.2f})")
    for staff in staves:
        paths = [p for p in staff if p.tag == f"{_SVG}path"][:5]
        for path, (x0, y, x1) in zip(paths, _staff_lines(staff), strict=False):
            at = _snapped(y + top, unit) - top
            path.set("d", f"M{x0} {at:.2f} L{x1} {at:.2f}")


def _snapped(y: float, unit: float) -> float:
    return (round(y / unit - 0.5) + 0.5) * unit


def _inner(root: ET.Element) -> ET.Element:
    found = root.find(f"{_SVG}svg")
    if found is None:
        raise ValueError("not an SVG of verovio")
    return found


def _kind(element: ET.Element) -> str:
    return (element.get("class") or "").split(" ")[0]


def _of_class(element: ET.Element, kind: str) -> list[ET.Element]:
    return [g for g in element.iter(f"{_SVG}g") if _kind(g) == kind]


def _tint(element: ET.Element, ink: str) -> None:
    element.set("fill", ink)
    element.set("color", ink)


def _colour_notes(element: ET.Element, left: set[str]) -> None:
    for child in element.iter(f"{_SVG}g"):
        kind = _kind(child)
        if kind in _NOTE_KINDS:
            first = next((n.get("id", "") for n in _of_class(child, "note")), None)
            if first is not None:
                _tint(child, LEFT_INK if first in left else RIGHT_INK)


def _staff_lines(staff: ET.Element) -> list[tuple[float, float, float]]:
    out: list[tuple[float, float, float]] = []
    for path in staff:
        found = _LINE.match(path.get("d", "")) if path.tag == f"{_SVG}path" else None
        if found and len(out) < 5:
            out.append((float(found[1]), float(found[2]), float(found[3])))
    return out


def _margin(inner: ET.Element) -> tuple[float, float]:
    """How far the page's content is moved, in inner units."""
    for group in _of_class(inner, "page-margin"):
        found = _PLACE.match(group.get("transform", ""))
        if found:
            return float(found[1]), float(found[2])
    return 0.0, 0.0


def _read_staff(staff: ET.Element, down: float) -> Staff:
    lines = _staff_lines(staff)
    return Staff((lines[0][1] + down) / UNITS_PER_SPACE, (lines[-1][1] + down) / UNITS_PER_SPACE)


def _read_bar(measure: ET.Element, written: int, across: float) -> EngravedBar:
    lines = [line for staff in _of_class(measure, "staff") for line in _staff_lines(staff)]
    left = min((x0 for x0, _, _ in lines), default=0.0)
    right = max((x1 for _, _, x1 in lines), default=0.0)
    return EngravedBar(
        written, (left + across) / UNITS_PER_SPACE, (right + across) / UNITS_PER_SPACE
    )


def _signs(element: ET.Element) -> Iterator[_Sign]:
    for use in element.iter(f"{_SVG}use"):
        found = _PLACE.match(use.get("transform", ""))
        if found:
            glyph = use.get(_HREF, "").lstrip("#").split("-")[0]
            x, y = float(found[1]) / UNITS_PER_SPACE, float(found[2]) / UNITS_PER_SPACE
            yield _Sign(x, y, float(found[3] or _FULL_SIZE) / _FULL_SIZE, glyph)


def _read_heads(staff: ET.Element, number: int, at: tuple[float, float]) -> dict[str, Head]:
    chords = {id(n): c for c in _of_class(staff, "chord") for n in _of_class(c, "note")}
    found: dict[str, Head] = {}
    for note in _of_class(staff, "note"):
        head = _read_head(note, chords.get(id(note), note), number)
        if head is not None and note.get("id"):
            found[note.get("id", "")] = _moved(head, at)
    return found


def _read_head(note: ET.Element, chord: ET.Element, staff: int) -> Head | None:
    signs = [s for g in _of_class(note, "notehead") for s in _signs(g)]
    if not signs:
        return None
    sign = signs[0]
    half = _HEAD_WIDTH.get(sign.glyph, 1.26) * sign.size / 2
    x = sign.x + half
    left = min([sign.x, *(a.x for a in _accidentals(chord) if _beside(a, sign))])
    right = max([x + half, *(d for d in _dots(note, chord) if d > x)])
    return Head(x, sign.y, left, right, half, staff, _stem(note) or _stem(chord))


def _moved(head: Head, at: tuple[float, float]) -> Head:
    across, down = at[0] / UNITS_PER_SPACE, at[1] / UNITS_PER_SPACE
    return replace(
        head,
        x=head.x + across,
        y=head.y + down,
        left=head.left + across,
        right=head.right + across,
    )


def _accidentals(chord: ET.Element) -> Iterator[_Sign]:
    for group in _of_class(chord, "accid"):
        yield from _signs(group)


def _beside(accidental: _Sign, head: _Sign) -> bool:
    return accidental.x < head.x and abs(accidental.y - head.y) < _ACCIDENTAL_REACH


def _dots(note: ET.Element, chord: ET.Element) -> Iterator[float]:
    for holder in (note, chord):
        for group in _of_class(holder, "dots"):
            for dot in group.iter(f"{_SVG}ellipse"):
                yield (float(dot.get("cx", 0)) + float(dot.get("rx", 0))) / UNITS_PER_SPACE


def _stem(holder: ET.Element) -> int:
    for group in holder:
        if _kind(group) == "stem":
            for path in group.iter(f"{_SVG}path"):
                found = _LINE.match(path.get("d", ""))
                if found:
                    return -1 if float(found[4]) < float(found[2]) else 1
    return 0


def _read_rests(staff: ET.Element, at: tuple[float, float]) -> dict[str, tuple[float, float]]:
    found = {}
    across, down = at[0] / UNITS_PER_SPACE, at[1] / UNITS_PER_SPACE
    for kind in ("rest", "mRest"):
        for rest in _of_class(staff, kind):
            for sign in _signs(rest):
                found[rest.get("id", "")] = (sign.x + across, sign.y + down)
                break
    return found
