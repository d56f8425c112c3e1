"""The reader's front door: a path or bytes in, an arrangement or text to engrave out."""

from __future__ import annotations

import hashlib
import os
from dataclasses import replace
from pathlib import Path

from engine.arrangement import Arrangement
from engine.read.container import is_midi, musicxml_root
from engine.read.document import prepare_document
from engine.read.fingering import with_fingering
from engine.read.limits import MAX_FILE_BYTES
from engine.read.musicxml import read_musicxml
from engine.read.note_places import is_place
from engine.read.overrides import apply_sidecar, fingering_by_id
from engine.read.report import Report
from engine.read.sidecar import Sidecar, read_sidecar, sidecar_bytes, sidecar_path
from engine.read.unfold import unfold

_DECLARATION = '<?xml version="1.0" encoding="UTF-8"?>\n'


def read_arrangement(path: str | os.PathLike[str]) -> Arrangement:
    """Read a score file: MusicXML, compressed MusicXML or MIDI, told by what is in it.

    Raises:
        ScoreError: it cannot be read; one line says why.
    """
    name = os.fspath(path)
    return read_score_bytes(read_bytes(path), name, sidecar_bytes(name))


def read_score_bytes(data: bytes, name: str, sidecar: bytes = b"") -> Arrangement:
    """Read a score from the bytes of its file (and of its sidecar, if any).

    `name` stands in messages and, if the score has no title, its stem as title.

    Raises:
        ScoreError: as `read_arrangement`.
    """
    extra = read_sidecar(sidecar, str(sidecar_path(name))) if sidecar else Sidecar()
    report = Report(name)
    title = Path(name).stem
    if is_midi(data):
        # Imported here, like the form and the engraver's writer: most scores are MusicXML, and
        # start-up should be lean.
        from engine.read.midi import read_midi

        score = read_midi(data, title, report)
    else:
        root = prepare_document(musicxml_root(data, report), report)
        score = read_musicxml(root, title, report)
    arrangement = unfold(score, hashlib.sha256(data).hexdigest(), report)
    return _with_form(apply_sidecar(arrangement, extra), extra)


def _with_form(arrangement: Arrangement, sidecar: Sidecar) -> Arrangement:
    # Imported here, because the form may ask the sidecar module beside this one for its types.
    from engine.form import find_form

    return replace(arrangement, form=find_form(arrangement, sidecar))


def engravable_text(path: str | os.PathLike[str]) -> str:
    """MusicXML text, uncompressed, in which every note has the id that the arrangement uses.

    Fingering is as the player has it: what the sidecar says stands in place of the printed one.

    Raises:
        ScoreError: as `read_arrangement`.
    """
    name = os.fspath(path)
    sidecar = read_sidecar(sidecar_bytes(name), str(sidecar_path(name)))
    fingering = dict(sidecar.fingering)
    if any(is_place(key) for key in fingering):
        fingering = fingering_by_id(read_arrangement(path), sidecar)
    return with_fingering(_plain_text(path), fingering)


def has_own_id(path: str | os.PathLike[str], note_id: str) -> bool:
    """Whether the file itself gives a note that id; else it was counted by the reader.

    Raises:
        ScoreError: as `read_arrangement`.
    """
    data = read_bytes(path)
    if is_midi(data):
        return False
    root = musicxml_root(data, Report(os.fspath(path)))
    return any(note.get("id") == note_id for note in root.iter("note"))


def _plain_text(path: str | os.PathLike[str]) -> str:
    from xml.etree.ElementTree import tostring

    report = Report(os.fspath(path))
    data = read_bytes(path)
    if is_midi(data):
        from engine.read.midi import read_midi
        from engine.read.write_musicxml import write_musicxml

        return _DECLARATION + write_musicxml(read_midi(data, Path(path).stem, report))
    root = prepare_document(musicxml_root(data, report), report)
    try:
        return _DECLARATION + tostring(root, encoding="unicode")
    except RecursionError as error:
        raise report.refusal("the XML is nested too deeply", "export it afresh") from error


def read_bytes(path: str | os.PathLike[str]) -> bytes:
    """All bytes of a score file.

    Raises:
        ScoreError: there is no such file, it cannot be opened, or it is too large.
    """
    report = Report(os.fspath(path))
    try:
        if Path(path).is_dir():
            raise report.refusal("that is a folder", "name a score in it")
        if not Path(path).is_file():
            raise report.refusal("there is no such file", "check the path")
        with Path(path).open("rb") as file:
            data = file.read(MAX_FILE_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise report.refusal(f"the file cannot be opened ({reason})", "check the path") from error
    if len(data) > MAX_FILE_BYTES:
        raise report.refusal(
            f"the file is larger than {MAX_FILE_BYTES // 2**20} MB", "export it afresh"
        )
    return data
