"""The engraved page with what was played marked on it, as SVG.

Beside each head a bar shows how late (right) or early (left) its note came; a note left out is
bracketed; a slip is a diamond at the height actually played, with its name. Heads stay as printed.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree
from xml.sax.saxutils import escape

from engine.arrangement import Arrangement
from engine.findings import Slip
from engine.review import PassReview
from practice.engraving.svg import UNITS_PER_SPACE, parse_svg, read_system
from practice.engraving.system import EngravedSystem, Head

#: So late fills the longest bar; beyond it an arrow says so.
FULL_MS, FULL_SPACES = 60.0, 1.6
WIDTH_SPACES = 118.0
#: One system a page, so that each can be marked by itself.
OPTIONS: dict[str, Any] = {
    "pageHeight": 100, "adjustPageHeight": True, "header": "none", "footer": "none",
    "breaks": "auto", "xmlIdSeed": 7, "svgViewBox": True, "spacingStaff": 10, "pedalStyle": "auto",
}  # fmt: skip
LATE, EARLY, SLIP, MISSING = "#9a3d12", "#0b5d7a", "#7a1f5c", "#444444"
LETTERS = "CDEFGAB"
_PITCH = re.compile(r"^([A-G])(b*|#*)(-?\d+)$")


@dataclass(frozen=True)
class MarkedSystem:
    """One system: its SVG, and its size in staff spaces."""

    svg: str
    width: float
    height: float


def draw_systems(
    text: str, arrangement: Arrangement, one: PassReview
) -> list[MarkedSystem]:  # fmt: skip
    """The systems that a pass touched, marked.

    Args:
        text: the score with ids (`engine.read.engravable_text`).
    """
    marks = gather_marks(arrangement, one)
    touched = {arrangement.bars[k].written for k in range(one.span.from_bar, one.span.to_bar + 1)}
    out = []
    for root, system in _engrave(text):
        if touched & {bar.written for bar in system.bars}:
            drawn = "".join(_draw_marks(system, marks))
            out.append(_put_together(root, system, drawn))
    return out


def _engrave(text: str) -> Iterator[tuple[ElementTree.Element, EngravedSystem]]:
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    outer = UNITS_PER_SPACE // 10
    sides = {f"pageMargin{side}": outer * 2 for side in ("Top", "Bottom", "Left", "Right")}
    toolkit.setOptions({**OPTIONS, **sides, "pageWidth": round(WIDTH_SPACES * outer)})
    if not toolkit.loadData(text):
        raise ValueError("the engraver cannot read this score")
    first_bar = 0
    for page in range(toolkit.getPageCount()):
        root = parse_svg(toolkit.renderToSVG(page + 1))
        system = read_system(root, page, first_bar)
        first_bar += len(system.bars)
        yield root, system


@dataclass(frozen=True, slots=True)
class NoteMark:
    """What is shown at one written head: lateness, or left out, or a slip heard instead."""

    time: int
    deviation_ms: float | None = None
    missing: bool = False
    slip: Slip | None = None


def gather_marks(arrangement: Arrangement, one: PassReview) -> dict[str, list[NoteMark]]:
    """The marks of a pass by note id, in order of playing."""
    marks: dict[str, list[NoteMark]] = {}
    for finding in one.findings:
        if finding.score is None:
            continue
        note = arrangement.notes[finding.score]
        if finding.what == "missing":
            mark = NoteMark(note.time, missing=True)
        elif finding.what == "right" and finding.played is not None:
            mark = NoteMark(note.time, one.deviations_ms[finding.played])
        else:
            continue
        marks.setdefault(note.note_id, []).append(mark)
    for slip in one.slips:
        if slip.score is not None and slip.played is not None:
            note = arrangement.notes[slip.score]
            marks.setdefault(note.note_id, []).append(NoteMark(note.time, slip=slip))
    return marks


def _draw_marks(system: EngravedSystem, marks: dict[str, list[NoteMark]]) -> Iterator[str]:
    for note_id, head in system.heads.items():
        for mark in marks.get(note_id, ()):
            if mark.slip is not None:
                yield _draw_slip(head, mark.slip)
            elif mark.missing:
                yield _draw_missing(head)
            elif mark.deviation_ms is not None and math.isfinite(mark.deviation_ms):
                yield _draw_lateness(head, mark.deviation_ms, mark.time)


def _draw_lateness(head: Head, deviation_ms: float, time: int) -> str:
    """A bar beside the head; the second time through a little lower."""
    length = min(abs(deviation_ms) / FULL_MS, 1.0) * FULL_SPACES
    if length < 0.05:
        return ""
    late = deviation_ms > 0
    side = head.right + 0.12 if late else head.left - 0.12
    end = side + length if late else side - length
    y = head.y + 0.3 * (time - 1)
    shade = LATE if late else EARLY
    bar = f'<path d="M{side:.2f} {y:.2f}H{end:.2f}" stroke="{shade}" stroke-width="0.28"/>'
    if abs(deviation_ms) <= FULL_MS:
        return bar
    tip = 0.4 if late else -0.4
    arrow = f"M{end:.2f} {y - 0.3:.2f}L{end + tip:.2f} {y:.2f}L{end:.2f} {y + 0.3:.2f}Z"
    return f'{bar}<path d="{arrow}" fill="{shade}"/>'


def _draw_missing(head: Head) -> str:
    left, right, h = head.x - head.half - 0.35, head.x + head.half + 0.35, 0.75
    top, bottom = head.y - h, head.y + h
    path = (
        f"M{left + 0.3:.2f} {top:.2f}H{left:.2f}V{bottom:.2f}H{left + 0.3:.2f}"
        f"M{right - 0.3:.2f} {top:.2f}H{right:.2f}V{bottom:.2f}H{right - 0.3:.2f}"
    )
    return f'<path d="{path}" fill="none" stroke="{MISSING}" stroke-width="0.16"/>'


def _draw_slip(head: Head, slip: Slip) -> str:
    x, y = head.right + 0.7, head.y - 0.5 * steps_between(slip.expected, slip.heard)
    diamond = (
        f"M{x:.2f} {y - 0.6:.2f}L{x + 0.6:.2f} {y:.2f}L{x:.2f} {y + 0.6:.2f}L{x - 0.6:.2f} {y:.2f}Z"
    )
    words = escape(print_pitch(slip.heard) or slip.kind)
    return (
        f'<path d="{diamond}" fill="#fff" stroke="{SLIP}" stroke-width="0.2"/>'
        f'<text x="{x + 0.8:.2f}" y="{y + 0.5:.2f}" font-size="1.5" fill="{SLIP}">{words}'
        f"<title>{escape(slip.words)}</title></text>"
    )


def steps_between(written: str, heard: str) -> int:
    """Staff steps from one spelled pitch up to another; 0 where one is not told."""
    one, other = _PITCH.match(written), _PITCH.match(heard)
    if not (one and other):
        return 0
    return (
        LETTERS.index(other[1]) + 7 * int(other[3]) - LETTERS.index(one[1]) - 7 * int(one[3])
    )  # fmt: skip


def print_pitch(name: str) -> str:
    """The letter with its signs: Bbb4 becomes B♭♭ (text fonts lack the sign for the double)."""
    told = _PITCH.match(name)
    if not told:
        return ""
    signs = {"bbb": "♭♭♭", "bb": "♭♭", "b": "♭", "#": "♯", "##": "×", "###": "×♯"}
    return told[1] + signs.get(told[2], "")


def _put_together(root: ElementTree.Element, system: EngravedSystem, marks: str) -> MarkedSystem:
    """Engraving and marks in one SVG whose unit is the staff space."""
    width, height = system.width, system.height
    root.attrib.update({"x": "0", "y": "0", "width": f"{width:.3f}", "height": f"{height:.3f}"})
    page = ElementTree.tostring(root, encoding="unicode")
    return MarkedSystem(f"{page}<g>{marks}</g>", width, height)


def stack_systems(systems: Sequence[MarkedSystem], title: str, px_per_space: float = 8.0) -> str:
    """One SVG with the systems below one another."""
    gap, at = 1.0, 0.0
    parts = []
    for system in systems:
        parts.append(f'<g transform="translate(0 {at:.2f})">{system.svg}</g>')
        at += system.height + gap
    width = max((s.width for s in systems), default=1.0)
    height = max(at, 1.0)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'width="{width * px_per_space:.0f}" height="{height * px_per_space:.0f}" '
        f'viewBox="0 0 {width:.2f} {height:.2f}" font-family="DejaVu Sans, sans-serif">'
        f"<title>{escape(title)}</title>"
        f'<rect width="100%" height="100%" fill="#fff"/>{"".join(parts)}</svg>\n'
    )
