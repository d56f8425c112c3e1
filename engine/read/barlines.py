"""<barline> elements: repeats, endings, double bars, and signs that hang on them."""

from __future__ import annotations

from fractions import Fraction
from xml.etree.ElementTree import Element

from engine.read.quantity import read_integer, read_numbers
from engine.read.written import Ending, Jump, WrittenBar, WrittenMark

_STYLES = {"light-light": "double-bar", "light-heavy": "final-bar", "heavy-heavy": "double-bar"}


def read_barline(barline: Element, bar: WrittenBar, at_q: Fraction, following: WrittenBar) -> None:
    """Write what a barline says into its bar (or into `following`, the bar on its right)."""
    left = barline.get("location") == "left"
    _read_repeat(barline, bar, at_q, following)
    _read_ending(barline, bar, at_q)
    style = _STYLES.get((barline.findtext("bar-style") or "").strip())
    if style and barline.find("repeat") is None:
        bar.marks.append(WrittenMark(style, at_q))
    for _ in barline.iterfind("fermata"):
        bar.marks.append(WrittenMark("fermata", at_q))
    for sign in ("segno", "coda"):
        if barline.find(sign) is not None or barline.get(sign):
            _read_sign(sign, barline.get(sign, ""), left, bar, following)


def _read_sign(kind: str, name: str, left: bool, bar: WrittenBar, following: WrittenBar) -> None:
    """A segno belongs to the bar after it; a coda sign closing a bar is where to leave from."""
    if left:
        bar.jumps.append(Jump(kind, name))
    elif kind == "segno":
        following.jumps.append(Jump(kind, name))
    else:
        bar.jumps.append(Jump("tocoda", name))


def _read_repeat(barline: Element, bar: WrittenBar, at_q: Fraction, following: WrittenBar) -> None:
    repeat = barline.find("repeat")
    if repeat is None:
        return
    left = barline.get("location") == "left"
    if repeat.get("direction") == "forward":
        home = bar if left else following
        home.repeat_start = True
        home.marks.append(WrittenMark("repeat-start", at_q if left else Fraction(0)))
    elif repeat.get("direction") == "backward":
        times = read_integer(repeat.get("times"))
        bar.repeat_end = True
        bar.repeat_times = times if times and times > 0 else 2
        bar.after_jump = repeat.get("after-jump") == "yes"
        bar.marks.append(WrittenMark("repeat-end", at_q, value=bar.repeat_times))


def _read_ending(barline: Element, bar: WrittenBar, at_q: Fraction) -> None:
    element = barline.find("ending")
    if element is None:
        return
    bar.ending = bar.ending or Ending()
    numbers = read_numbers(element.get("number")) or read_numbers(element.text)
    bar.ending.numbers |= numbers
    if element.get("type") == "start":
        bar.ending.begins = True
        text = (element.text or "").strip() or element.get("number", "")
        bar.marks.append(WrittenMark("ending", at_q, text[:40]))
    else:
        bar.ending.ends = True
