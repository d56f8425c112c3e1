"""From the bytes of a file to what is in it: MusicXML text, the inside of an .mxl, or MIDI.

A file is known by what it holds, never by its suffix.
"""

from __future__ import annotations

import io
import lzma
import struct
import zipfile
import zlib
from xml.etree.ElementTree import Element

from engine.read.limits import MAX_ARCHIVE_MEMBERS, MAX_ELEMENTS, MAX_FILE_BYTES
from engine.read.report import Report

_ZIP = b"PK\x03\x04"
_MIDI = b"MThd"
#: What may stand before the first "<": byte order marks, the zeros of UTF-16, blanks.
_BEFORE_MARKUP = b"\xef\xbb\xbf\xff\xfe\0 \t\r\n"
_NOT_A_SCORE = "this is not a score that can be read"
_WANTED = "give a MusicXML (.musicxml, .xml, .mxl) or MIDI (.mid) file"


def is_midi(data: bytes) -> bool:
    """Whether the bytes begin as a Standard MIDI File does."""
    return data[:4] == _MIDI


def musicxml_root(data: bytes, report: Report) -> Element:
    """The root element of a MusicXML file, plain or compressed, ids untouched.

    Raises:
        ScoreError: it is neither, is damaged, too large, or declares entities.
    """
    if data[:4] == _ZIP:
        data = _unpack(data, report)
    if not data.strip():
        raise report.refusal("the file is empty", _WANTED)
    if not data[:4096].lstrip(_BEFORE_MARKUP).startswith(b"<"):
        raise report.refusal(_NOT_A_SCORE, _WANTED)
    # comments and the like are counted too: they take as long
    if data.count(b"<") - data.count(b"</") > MAX_ELEMENTS:
        raise report.refusal(
            f"the file holds more than {MAX_ELEMENTS} elements", "export the piano's part alone"
        )
    root = _parse(data, report)
    if root.tag not in ("score-partwise", "score-timewise"):
        raise report.refusal(f"{_NOT_A_SCORE}: its outermost element is <{root.tag[:40]}>", _WANTED)
    return root


def _parse(data: bytes, report: Report) -> Element:
    # Imported here: a MIDI file needs no XML parser, and start-up should be lean.
    from xml.etree.ElementTree import ParseError

    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        root: Element = fromstring(data)
    except DefusedXmlException as error:
        raise report.refusal(
            "the file declares XML entities, which no score needs", "export it afresh"
        ) from error
    except (ParseError, ValueError, LookupError) as error:
        line = getattr(error, "position", (0, 0))[0]
        where = f" at line {line}" if line else ""
        raise report.refusal(f"the XML breaks off or is damaged{where}", "export afresh") from error
    return root


#: All that zipfile and the decompressors behind it raise over damaged or unsupported archives.
_DAMAGED = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, lzma.LZMAError, struct.error, EOFError,
    OSError, RuntimeError, NotImplementedError, ValueError,
)  # fmt: skip


def _unpack(data: bytes, report: Report) -> bytes:
    """The MusicXML document inside a compressed file. Nothing is written to disk."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if len(archive.infolist()) > MAX_ARCHIVE_MEMBERS:
                raise report.refusal("the archive holds too many files", "export the score afresh")
            return _read_member(archive, _score_member(archive, report), report)
    except _DAMAGED as error:
        raise report.refusal(
            f"the compressed score is damaged ({error})", "export the score afresh"
        ) from error


def _score_member(archive: zipfile.ZipFile, report: Report) -> str:
    """Name of the score inside: what META-INF/container.xml names first, else the first XML."""
    names = archive.namelist()
    if "META-INF/container.xml" in names:
        root = _parse(_read_member(archive, "META-INF/container.xml", report), report)
        for element in root.iter():
            if element.tag.rpartition("}")[2] == "rootfile":
                named = element.get("full-path", "")
                if named in names:
                    return named
    for name in names:
        if name.endswith((".xml", ".musicxml")) and not name.startswith("META-INF/"):
            return name
    raise report.refusal("the compressed file holds no score", _WANTED)


def _read_member(archive: zipfile.ZipFile, name: str, report: Report) -> bytes:
    with archive.open(name) as member:
        # Read, do not trust the size that the archive claims.
        data = member.read(MAX_FILE_BYTES + 1)
    if len(data) > MAX_FILE_BYTES:
        limit = MAX_FILE_BYTES // 2**20
        raise report.refusal(
            f"the score unpacks to more than {limit} MB", "export the score afresh"
        )
    return data
