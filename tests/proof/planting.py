"""Errors of notation planted in copies of a score: each function changes the tree in one place."""

from __future__ import annotations

import copy
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree
from xml.etree.ElementTree import Element, SubElement

from engine.arrangement import Arrangement
from engine.read import read_score_bytes

Tree = Element


def planted(path: Path, plant: Callable[[Tree], None]) -> Arrangement:
    """A copy of a score with an error, read."""
    root = ElementTree.parse(path).getroot()
    plant(root)
    return read_score_bytes(ElementTree.tostring(root), path.name)


def measure(root: Tree, number: int) -> Element:
    found = root.find(f"./part/measure[@number='{number}']")
    assert found is not None
    return found


def notes(root: Tree, number: int, staff: int) -> list[Element]:
    """Sounding notes of a staff in a bar, in document order."""
    return [
        n
        for n in measure(root, number).findall("note")
        if n.findtext("staff") == str(staff) and n.find("pitch") is not None
    ]


def respell(note: Element, step: str, alter: int, octave: int) -> None:
    pitch = note.find("pitch")
    assert pitch is not None
    for child in list(pitch):
        pitch.remove(child)
    SubElement(pitch, "step").text = step
    if alter:
        SubElement(pitch, "alter").text = str(alter)
    SubElement(pitch, "octave").text = str(octave)


def remove(root: Tree, number: int, note: Element) -> None:
    measure(root, number).remove(note)


def add_to_chord(
    root: Tree, number: int, note: Element, step: str, alter: int, octave: int
) -> None:
    """Another key struck with a note."""
    new = copy.deepcopy(note)
    new.set("id", f"{note.get('id')}x")
    respell(new, step, alter, octave)
    if new.find("chord") is None:
        new.insert(0, Element("chord"))
    bar = measure(root, number)
    bar.insert(list(bar).index(note) + 1, new)


def pedals(root: Tree, number: int) -> list[Element]:
    """Directions with pedal marks in a bar."""
    bar = measure(root, number)
    return [d for d in bar.findall("direction") if d.find("direction-type/pedal") is not None]
