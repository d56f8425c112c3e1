"""A MusicXML score as written: parts put together bar by bar, lengths and lead-ins settled."""

from __future__ import annotations

import math
from fractions import Fraction
from xml.etree.ElementTree import Element

from engine.read.document import count_staves
from engine.read.hands import assign_hands
from engine.read.measures import PartReader
from engine.read.report import Report
from engine.read.split import split_bars
from engine.read.written import WrittenBar, WrittenScore

#: A bar that is longer than its signature says by less than this was rounded, not written so.
ROUNDED_Q = Fraction(1, 100)


def read_musicxml(root: Element, name: str, report: Report) -> WrittenScore:
    """Read a prepared document (see `engine.read.document.prepare_document`)."""
    parts = root.findall("part")
    measures = [part.findall("measure") for part in parts]
    bars = _empty_bars(measures)
    if not bars:
        raise report.refusal("the score has no bars", "export it afresh")
    reached = [Fraction(0)] * len(bars)
    readers = _part_readers(parts, report)
    for reader, column in zip(readers, measures, strict=True):
        for i, measure in enumerate(column):
            reached[i] = max(reached[i], reader.read(measure, bars, i))
    _settle_lengths(bars, reached, report)
    settle_leads(bars)
    bars = split_bars(bars, readers[0].cuts)
    assign_hands(bars, _left_staves(parts, readers))
    return WrittenScore(_title(root, name), bars)


def _empty_bars(measures: list[list[Element]]) -> list[WrittenBar]:
    longest = max(measures, key=len)
    return [
        WrittenBar((m.get("number") or "").strip()[:16], implicit=m.get("implicit") == "yes")
        for m in longest
    ]


def _part_readers(parts: list[Element], report: Report) -> list[PartReader]:
    readers: list[PartReader] = []
    first_staff = 1
    for part in parts:
        readers.append(PartReader(report, first_staff, leading=first_staff == 1))
        first_staff += count_staves(part)
    return readers


def _left_staves(parts: list[Element], readers: list[PartReader]) -> frozenset[int]:
    """Staves read by the left hand: the lower of two; of one or three, those with its clef."""
    total = sum(count_staves(part) for part in parts)
    if total == 2:
        return frozenset({2})
    clefs = {staff: left for reader in readers for staff, left in reader.left_clefs.items()}
    found = {staff for staff in range(1, total + 1) if clefs.get(staff, False)}
    return frozenset(found if total == 1 else (found | {total}) - {1})


def _settle_lengths(bars: list[WrittenBar], reached: list[Fraction], report: Report) -> None:
    """A bar is as long as its music; an empty one as long as its signature says.

    What a program has rounded off the lengths of tuplets makes no bar longer.
    """
    for bar, music_q in zip(bars, reached, strict=True):
        if not bar.unmeasured and 0 < music_q - bar.signature_q < ROUNDED_Q:
            music_q = bar.signature_q
        bar.duration_q = music_q or bar.signature_q
        if bar.unmeasured:
            # Without a signature the beat is a quarter, and there are as many as there are.
            bar.beats, bar.beat_unit = max(1, math.ceil(bar.duration_q)), 4
        if bar.duration_q > bar.signature_q and not bar.implicit:
            beats, verb = music_q * bar.beat_unit / 4, "is" if bar.beats == 1 else "are"
            what = f"holds {_plain(beats)} beats where {bar.beats} {verb} due"
            report.put_up_with(bar.number, what)


def _plain(value: Fraction) -> str:
    return str(value) if value.denominator == 1 else f"{float(value):.2f}".rstrip("0").rstrip(".")


def settle_leads(bars: list[WrittenBar]) -> None:
    """Find how much is missing at the front of short bars.

    The first bar, and a short bar marked implicit after a full one, are pickups: their end is
    the end of a whole bar. A short bar after a short one continues it where the two fill a bar.
    """
    filled_q = Fraction(0)
    for i, bar in enumerate(bars):
        missing_q = bar.signature_q - bar.duration_q
        continues = i > 0 and filled_q > 0 and filled_q + bar.duration_q <= bar.signature_q
        if missing_q <= 0:
            filled_q = Fraction(0)
            continue
        if i == 0 or (bar.implicit and not continues):
            bar.lead_q = missing_q
        elif continues:
            bar.lead_q = filled_q
        end_q = bar.lead_q + bar.duration_q
        filled_q = end_q if i > 0 and end_q < bar.signature_q else Fraction(0)


def _title(root: Element, name: str) -> str:
    """Work and movement title, else the largest text of the first page, else `name`."""
    work = " ".join((root.findtext("work/work-title") or "").split())
    movement = " ".join((root.findtext("movement-title") or "").split())
    if work and movement and movement not in work:
        return f"{work}: {movement}"[:200]
    return (work or movement or _largest_credit(root) or name)[:200]


def _largest_credit(root: Element) -> str:
    best, size = "", 0.0
    for words in root.iterfind("credit[@page='1']/credit-words"):
        text = " ".join((words.text or "").split())
        try:
            points = float(words.get("font-size", "0"))
        except ValueError:
            points = 0.0
        if text and points > size:
            best, size = text, points
    return best
