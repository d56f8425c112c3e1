"""Fingering put into MusicXML text: the player's own in place of the printed one."""

from __future__ import annotations

import re
from collections.abc import Mapping

_NOTE = re.compile(r"<note\b[^>]*>.*?</note>", re.S)
_ID = re.compile(r"<note\b[^>]*\bid=[\"']([^\"']*)[\"']")
_FINGERING = re.compile(r"<fingering\b[^>]*>.*?</fingering>|<fingering\b[^>]*/>", re.S)


def with_fingering(text: str, fingering: Mapping[str, str]) -> str:
    """MusicXML with other fingering for some notes, by id; "" takes the printed one away."""
    if not fingering:
        return text
    return _NOTE.sub(lambda found: _finger_note(found[0], fingering), text)


def _finger_note(note: str, fingering: Mapping[str, str]) -> str:
    found = _ID.match(note)
    if found is None or found[1] not in fingering:
        return note
    finger = fingering[found[1]]
    note = _FINGERING.sub("", note)
    if not finger:
        return note
    sign = f"<fingering>{finger}</fingering>"
    if "<technical>" in note:
        return note.replace("<technical>", f"<technical>{sign}", 1)
    if "<notations>" in note:
        return note.replace("<notations>", f"<notations><technical>{sign}</technical>", 1)
    sign = f"<notations><technical>{sign}</technical></notations>"
    lyric = note.find("<lyric")
    at = lyric if lyric >= 0 else note.rindex("</note>")
    return note[:at] + sign + note[at:]
