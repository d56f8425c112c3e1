"""The engraving process: jobs come in as lines of JSON, systems go out as files and lines of JSON.

A job: {"key", "folder", "score", "left_hand", "width_spaces", "space_px", "music_font", "share",
"shares"}, where `score` is the path of a MusicXML text with note ids and `folder` is where the
files go: `000.png`, `000.json`, ... one a system. Several processes may share a job: each draws
every so-manieth system. Answers: {"key", "system", "of"}, {"key", "error": one line}.
"""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from practice.engraving.fonts import MUSIC_FONT, text_font
from practice.engraving.svg import (
    UNITS_PER_SPACE,
    colour_by_hand,
    enlarge_bar_numbers,
    keep_inside,
    parse_svg,
    read_system,
    snap_staff_lines,
    write_out_styles,
)
from practice.engraving.system import as_json

#: Rises whenever the same score would come out otherwise: old pages are then made anew.
ENGRAVING_VERSION = 7
#: Outer SVG units in a staff space.
_OUTER = UNITS_PER_SPACE // 10
#: Room round a system, in spaces; on the left for the brace and the bar number.
_MARGINS = {"Top": 0.8, "Bottom": 0.8, "Left": 2.2, "Right": 0.6}
_A_BAR = re.compile(r'class="measure[ "]')
_TEMPO_WORDS = re.compile(
    r"(<words\b[^>]*>[^<]*[^<\s])\s*(</words>\s*</direction-type>\s*<direction-type\b[^>]*>\s*<metronome\b)"
)
_TEXT_FACES = ("STIXGeneral", "STIXGeneralItalic", "STIXGeneralBol", "STIXGeneralBolIta")
#: Options of verovio. One system a page: the page is as high as its one system.
#: Lines somewhat stronger than in print: they are read from a metre and a half on a screen.
ENGRAVER_OPTIONS: dict[str, Any] = {
    "pageHeight": 100,
    "adjustPageHeight": True,
    "header": "none",
    "footer": "none",
    "breaks": "auto",
    "xmlIdSeed": 7,
    "font": MUSIC_FONT,
    "svgViewBox": True,
    "staffLineWidth": 0.22,
    "stemWidth": 0.24,
    "ledgerLineThickness": 0.3,
    "barLineWidth": 0.3,
    "fingeringScale": 0.9,
    "mnumInterval": 0,
    "pedalStyle": "auto",
    "spacingStaff": 10,
    "svgAdditionalAttribute": [
        f"{kind}@startid" for kind in ("slur", "tie", "fing", "trill", "mordent", "turn")
    ],
}


@dataclass(frozen=True, slots=True)
class Job:
    """What is asked of the engraver; see the module's head."""

    key: str
    folder: Path
    score: Path
    left_hand: tuple[str, ...]
    width_spaces: float
    space_px: float
    music_font: Path
    share: int = 0
    shares: int = 1


def read_job(line: str) -> Job:
    """A job from its line."""
    data = json.loads(line)
    return Job(
        data["key"], Path(data["folder"]), Path(data["score"]), tuple(data["left_hand"]),
        float(data["width_spaces"]), float(data["space_px"]), Path(data["music_font"]),
        int(data.get("share", 0)), int(data.get("shares", 1)),
    )  # fmt: skip


def engrave(job: Job, say: Callable[[dict[str, Any]], None]) -> None:
    """Set and draw every system of a job, saying each as soon as it is there."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    margins = {f"pageMargin{side}": round(w * _OUTER) for side, w in _MARGINS.items()}
    toolkit.setOptions(
        {**ENGRAVER_OPTIONS, **margins, "pageWidth": round(job.width_spaces * _OUTER)}
    )
    if not toolkit.loadData(part_tempo_words(job.score.read_text("utf-8"))):
        raise ValueError("the engraver cannot read this score")
    first_bar = 0
    count = toolkit.getPageCount()
    if not count:
        raise ValueError("the engraver finds no music in this score")
    for page in range(count):
        text = toolkit.renderToSVG(page + 1)
        if page % job.shares == job.share:
            _draw_system(text, job, page, first_bar)
            say({"key": job.key, "system": page, "of": count})
        first_bar += len(_A_BAR.findall(text))


def part_tempo_words(text: str) -> str:
    """MusicXML with room between a tempo's words and its metronome mark, which are set as one."""
    return _TEMPO_WORDS.sub("\\1\u00a0\u00a0\\2", text)


def _draw_system(text: str, job: Job, index: int, first_bar: int) -> None:
    """Draw one system into the job's folder."""
    import resvg_py

    root = parse_svg(text)
    system = read_system(root, index, first_bar)
    colour_by_hand(root, job.left_hand)
    keep_inside(root)
    snap_staff_lines(root, job.space_px)
    write_out_styles(root)
    enlarge_bar_numbers(root)
    png = resvg_py.svg_to_bytes(
        svg_string=ElementTree.tostring(root, encoding="unicode"),
        zoom=job.space_px / _OUTER,
        skip_system_fonts=True,
        font_files=[str(job.music_font), *(str(text_font(f)) for f in _TEXT_FACES)],
        font_family="STIXGeneral",
        serif_family="STIXGeneral",
    )
    # The positions go last: where they are, the picture is whole.
    (job.folder / f"{index:03d}.png").write_bytes(bytes(png))
    part = job.folder / f"{index:03d}.part"
    part.write_text(json.dumps(as_json(system)), "utf-8")
    part.replace(job.folder / f"{index:03d}.json")


def serve() -> None:
    """Take jobs from standard input until it closes."""
    if hasattr(os, "nice"):
        os.nice(5)  # the keyboard goes first

    def say(answer: dict[str, Any]) -> None:
        sys.stdout.write(json.dumps(answer) + "\n")
        sys.stdout.flush()

    for line in sys.stdin:
        job = read_job(line)
        try:
            job.folder.mkdir(parents=True, exist_ok=True)
            engrave(job, say)
        except Exception as error:
            say({"key": job.key, "error": " ".join(f"{error}".split()) or type(error).__name__})


if __name__ == "__main__":
    serve()
