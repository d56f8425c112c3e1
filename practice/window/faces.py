"""Typefaces: which file a face is, how wide a text comes out, and how the signs are set.

The five accidental signs are taken from the music font, at a size that suits the text round
them: text fonts lack the double flat and the double sharp.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import pygame.font

from practice.engraving.fonts import music_font, text_font
from practice.window.ops import Align, Colour, Face, Words

#: Code points of SMuFL 1.4, table "Standard accidentals (12-EDO)".
SIGNS = {"♭": "\ue260", "♮": "\ue261", "♯": "\ue262", "𝄪": "\ue263", "𝄫": "\ue264"}
_RUNS = re.compile(f"[{''.join(SIGNS)}]+|[^{''.join(SIGNS)}]+")
#: The music font's size beside text of size 1, and how far its line is over the baseline:
#: flats stand on the line through their belly, the others about their middle.
SIGN_SIZE = 1.32
_SIGN_RISE = {"♭": 0.24, "𝄫": 0.24, "♮": 0.36, "♯": 0.36, "𝄪": 0.36}
_FILES: dict[Face, str] = {
    "text": "DejaVuSans",
    "bold": "DejaVuSans-Bold",
    "serif": "DejaVuSerif",
    "serif-bold": "DejaVuSerif-Bold",
    "serif-italic": "DejaVuSerif-Italic",
}
_music_file: list[Path] = []


def use_music_font(cache_dir: Path) -> None:
    """Make the music font ready; to be called once before anything is composed."""
    _music_file[:] = [music_font(cache_dir / "fonts")]
    pygame.font.init()


@lru_cache(maxsize=256)
def load_font(face: Face, size: int) -> pygame.font.Font:
    """The font of a face at a size."""
    path = _music_file[0] if face == "music" else text_font(_FILES[face])
    return pygame.font.Font(str(path), size)


def runs(text: str, face: Face, size: int) -> Iterator[tuple[str, Face, int, float]]:
    """The text in stretches of one font: (text, face, size, rise over the baseline)."""
    if face == "music":
        yield text, face, size, 0.0
        return
    for found in _RUNS.findall(text):
        if found[0] in SIGNS:
            for sign in found:
                yield SIGNS[sign], "music", round(size * SIGN_SIZE), _SIGN_RISE[sign] * size
        else:
            yield found, face, size, 0.0


@lru_cache(maxsize=8192)
def text_width(text: str, face: Face, size: int) -> float:
    """The width of a text in pixels, signs included."""
    return float(sum(load_font(f, s).size(part)[0] for part, f, s, _ in runs(text, face, size)))


def words(
    x: float,
    y: float,
    text: str,
    size: int,
    colour: Colour,
    face: Face = "text",
    align: Align = "left",
    ground: Colour | None = None,
) -> Words:
    """A `Words` that knows its width."""
    return Words(x, y, text, size, colour, face, align, text_width(text, face, size), ground)


def shorten(text: str, face: Face, size: int, room: float) -> str:
    """The text, cut with an ellipsis where it is wider than the room; "" if nothing fits."""
    if text_width(text, face, size) <= room:
        return text
    for end in range(len(text) - 1, 0, -1):
        cut = text[:end].rstrip(" ,;.") + "…"
        if text_width(cut, face, size) <= room:
            return cut
    return ""


def wrap(text: str, face: Face, size: int, room: float, most_lines: int) -> list[str]:
    """The text broken at spaces into lines that fit; the last one shortened if it must be."""
    lines: list[str] = []
    rest = text.split()
    while rest and len(lines) < most_lines:
        if len(lines) == most_lines - 1:
            lines.append(shorten(" ".join(rest), face, size, room))
            break
        take = 1
        while take < len(rest) and text_width(" ".join(rest[: take + 1]), face, size) <= room:
            take += 1
        lines.append(shorten(" ".join(rest[:take]), face, size, room))
        rest = rest[take:]
    return lines
