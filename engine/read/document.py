"""A MusicXML document made ready: partwise, one piano's parts only, every note with an id."""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element, SubElement

from engine.read.limits import MAX_DIRECTIONS, MAX_DOCUMENT_NOTES, MAX_STAVES
from engine.read.report import Report

_GOOD_ID = re.compile(r"[\w.:-]{1,80}")
_PIANO = re.compile(r"piano|klavier|keyboard|clavier|pf\b|pno", re.IGNORECASE)


def prepare_document(root: Element, report: Report) -> Element:
    """Change `root` in place into a partwise score of the piano's parts, all notes with ids.

    Raises:
        ScoreError: there is no piano in it, no notes, or far too many.
    """
    if sum(1 for _ in root.iter("note")) > MAX_DOCUMENT_NOTES:
        raise report.refusal(
            f"the score has more than {MAX_DOCUMENT_NOTES} notes and rests", "split it into several"
        )
    said = sum(e.tag in ("direction", "sound") for bar in root.iter("measure") for e in bar)
    if said > MAX_DIRECTIONS:
        raise report.refusal(
            f"the score has more than {MAX_DIRECTIONS} words and signs", "split it into several"
        )
    if root.tag == "score-timewise":
        _make_partwise(root)
    give_ids(root, report)
    _keep_piano(root, report)
    for part in root.findall("part"):
        _declare_staves(part)
    return root


def _make_partwise(root: Element) -> None:
    """Turn measures holding parts into parts holding measures."""
    parts: dict[str, Element] = {}
    for measure in root.findall("measure"):
        root.remove(measure)
        for piece in measure.findall("part"):
            name = piece.get("id", "")
            if name not in parts:
                parts[name] = SubElement(root, "part", {"id": name})
            bar = SubElement(parts[name], "measure", dict(measure.attrib))
            bar.extend(list(piece))
    root.tag = "score-partwise"


def give_ids(root: Element, report: Report) -> None:
    """Give every note an id of its own: the file's, or n1, n2 ... by its place in the document.

    An id that is used twice, or could not stand in a table or a picture, is replaced too.
    """
    notes = list(root.iter("note"))
    owned = {n.get("id", "") for n in notes}
    taken: set[str] = set()
    replaced = 0
    for count, note in enumerate(notes, 1):
        own = note.get("id")
        if own is not None and own not in taken and _GOOD_ID.fullmatch(own):
            taken.add(own)
            continue
        fresh = _free_id(count, owned, taken)
        note.set("id", fresh)
        taken.add(fresh)
        replaced += own is not None
    if replaced:
        report.put_up_with("", f"{replaced} notes had no usable id of their own and were renamed")


def _free_id(count: int, owned: set[str], taken: set[str]) -> str:
    name = f"n{count}"
    extra = 0
    while name in owned or name in taken:
        extra += 1
        name = f"n{count}x{extra}"
    return name


def _keep_piano(root: Element, report: Report) -> None:
    parts = root.findall("part")
    if not parts:
        raise report.refusal("the score has no parts", "export it afresh")
    names = {e.get("id", ""): (e.findtext("part-name") or "") for e in root.iter("score-part")}
    kept = choose_parts(parts, names, report)
    left_out = [p for p in parts if p not in kept]
    for part in left_out:
        root.remove(part)
    _drop_from_list(root, {p.get("id", "") for p in left_out} - {p.get("id", "") for p in kept})
    sounding = [p for p in left_out if p.find(".//pitch") is not None]
    if sounding:
        lost = ", ".join(names.get(p.get("id", ""), "").strip() or "unnamed" for p in sounding)
        report.put_up_with("", f"left out the parts that are not the piano's: {lost}"[:300])


def _declare_staves(part: Element) -> None:
    """Say how many staves a part has, where it uses more than it says: engravers go by it."""
    used = count_staves(part)
    if used < 2 or part.find("measure/attributes/staves") is not None:
        return
    attributes = part.find("measure/attributes")
    if attributes is None:
        return
    staves = Element("staves")
    staves.text = str(used)
    before = ("footnote", "level", "divisions", "key", "time")
    attributes.insert(sum(child.tag in before for child in attributes), staves)


def _drop_from_list(root: Element, ids: set[str]) -> None:
    part_list = root.find("part-list")
    if part_list is None or not ids:
        return
    for entry in list(part_list):
        if entry.tag == "part-group" or entry.get("id") in ids:
            part_list.remove(entry)


def choose_parts(parts: list[Element], names: dict[str, str], report: Report) -> list[Element]:
    """The part or the two parts that one pianist plays.

    A part with two staves or more wins (one named as a piano first); else the only part, or
    the only two, the first for the right hand; else those named as a piano.
    """
    sounding = [p for p in parts if p.find(".//pitch") is not None]
    if not sounding:
        if any(p.find(".//unpitched") is not None for p in parts):
            raise report.refusal("the score has percussion only", "give a part for piano")
        raise report.refusal("the score holds no notes", "give one with notes for piano")
    pianos = [p for p in sounding if _PIANO.search(names.get(p.get("id", ""), ""))]
    wide = [p for p in sounding if count_staves(p) >= 2]
    if wide:
        return [next((p for p in wide if p in pianos), wide[0])]
    if len(sounding) <= 2:
        return sounding
    if 1 <= len(pianos) <= 2:
        return pianos
    raise report.refusal(
        f"the score has {len(sounding)} parts and none of them is a piano's two staves",
        "export the piano part alone",
    )


def count_staves(part: Element) -> int:
    """How many staves a part uses, declared or not."""
    declared = [e.text or "" for e in part.iter("staves")]
    used = {(e.text or "").strip() for e in part.iter("staff")}
    numbers = [int(t) for t in (*declared, *used) if t.strip().isdecimal() and len(t) < 4]
    return min(max(numbers, default=1), MAX_STAVES)
