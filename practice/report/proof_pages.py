"""The engraved page with the remarks marked on it: pictures, or one PDF."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from engine.arrangement import Arrangement
from engine.errors import UndersongError
from engine.proof import Remark
from practice.engrave import Engraver, PageLayout
from practice.engraving.system import EngravedSystem
from practice.whole_file import whole_file

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

#: A4 upright at 150 dots an inch.
PAGE_PX = (1240, 1754)
MARGIN_PX = 70
LAYOUT = PageLayout(92, 12.0)
LINE_PX = 24
INK, MARK = (20, 20, 20), (150, 30, 30)


@dataclass(frozen=True, slots=True)
class _Block:
    """One system with its remarks' numbers and texts beneath it."""

    system: EngravedSystem
    picture: Path
    remarks: tuple[tuple[int, Remark], ...]


def draw_pages(
    arrangement: Arrangement, text: str, remarks: Sequence[Remark], cache: Path
) -> list[Image]:
    """Pages of systems, each remark numbered at its note and said below its system.

    Raises:
        UndersongError: the page cannot be engraved.
    """
    engraver = Engraver(cache)
    left = {h for n in arrangement.notes if n.hand == "left" for h in n.heads}
    try:
        engraver.ask(text, left, LAYOUT)
        score = engraver.wait(120.0)
    finally:
        engraver.close()
    if score is None or not score.done:
        raise UndersongError("the page cannot be engraved", arrangement.title)
    blocks = [
        _Block(s, score.folder / f"{s.index:03d}.png", _remarks_on(arrangement, s, remarks))
        for s in score.systems
    ]
    return _lay_out(arrangement, blocks)


def _remarks_on(
    arrangement: Arrangement, system: EngravedSystem, remarks: Sequence[Remark]
) -> tuple[tuple[int, Remark], ...]:
    written = {b.written for b in system.bars}
    numbers = {b.number for b in arrangement.bars if b.written in written}
    out = []
    for n, remark in enumerate(remarks, 1):
        heads = [i for i in remark.note_ids if i in system.heads]
        if heads or (not remark.note_ids and remark.bar in numbers):
            out.append((n, remark))
    return tuple(out)


def _lay_out(arrangement: Arrangement, blocks: Sequence[_Block]) -> list[Image]:
    from PIL import Image, ImageDraw

    pages: list[Any] = []
    y = PAGE_PX[1]
    for block in blocks:
        picture, height = _measure(block)
        if y + height > PAGE_PX[1] - MARGIN_PX:
            pages.append(Image.new("RGB", PAGE_PX, "white"))
            y = MARGIN_PX
            if len(pages) == 1:
                ImageDraw.Draw(pages[0]).text(
                    (MARGIN_PX, y), arrangement.title, fill=INK, font=_font(30)
                )
                y += 60
        y = _paste(pages[-1], arrangement, block, picture, y)
    return pages


def _measure(block: _Block) -> tuple[Image, int]:
    from PIL import Image

    picture = Image.open(block.picture).convert("RGBA")
    ratio = min(1.0, (PAGE_PX[0] - 2 * MARGIN_PX) / picture.width)
    picture = picture.resize((round(picture.width * ratio), round(picture.height * ratio)))
    lines = sum(len(_wrapped(n, r)) for n, r in block.remarks)
    return picture, picture.height + LINE_PX * lines + 24


def _paste(page: Image, arrangement: Arrangement, block: _Block, picture: Image, y: int) -> int:
    from PIL import Image, ImageDraw

    # The engraving's colours only tell the hands apart: here all is printed in ink.
    ink = Image.new("RGB", picture.size, INK)
    page.paste(ink, (MARGIN_PX, y), picture.getchannel("A"))
    pen = ImageDraw.Draw(page)
    space_px = picture.width / block.system.width
    at_place: dict[tuple[float, float], int] = {}
    for number, remark in block.remarks:
        place = _place(arrangement, block.system, remark)
        nth = at_place[place] = at_place.get(place, -1) + 1
        x, at = place
        _mark(pen, MARGIN_PX + x * space_px, y + at * space_px, number, space_px, nth)
    y += picture.height
    for number, remark in block.remarks:
        for line in _wrapped(number, remark):
            pen.text((MARGIN_PX, y), line, fill=MARK, font=_font(17))
            y += LINE_PX
    return y + 24


def _place(arrangement: Arrangement, system: EngravedSystem, remark: Remark) -> tuple[float, float]:
    """Where a remark's note is, or the start of its bar above the upper staff; in spaces."""
    for note_id in remark.note_ids:
        if note_id in system.heads:
            head = system.heads[note_id]
            return head.x, head.y
    written = next((b.written for b in arrangement.bars if b.number == remark.bar), -1)
    left = next((b.left for b in system.bars if b.written == written), 0.0)
    return left + 1.0, system.staves[0].top - 1.5


def _mark(pen: ImageDraw, x: float, y: float, number: int, space_px: float, nth: int) -> None:
    """A ring round the note and its number above it: shape and figure, not colour alone."""
    r = 1.3 * space_px
    pen.ellipse((x - r, y - r, x + r, y + r), outline=MARK, width=2)
    pen.text((x + r + 24 * nth, y - r - 16), str(number), fill=MARK, font=_font(18))


def _wrapped(number: int, remark: Remark) -> list[str]:
    beat = "" if remark.beat is None else f", beat {round(float(remark.beat), 2):g}"
    why = remark.why.replace("𝄫", "♭♭").replace("𝄪", "x")  # the font has no doubles
    return textwrap.wrap(f"{number}  bar {remark.bar}{beat}: {why}", 120, subsequent_indent="   ")


def _font(size: int) -> Any:
    from matplotlib import get_data_path
    from PIL import ImageFont

    return ImageFont.truetype(str(Path(get_data_path()) / "fonts/ttf/DejaVuSans.ttf"), size)


def write_pages(pages: Sequence[Image], png: str | None, pdf: str | None) -> list[Path]:
    """Write the pages as pictures into a folder, as one PDF, or both.

    Raises:
        UndersongError: they cannot be written.
    """
    written: list[Path] = []
    try:
        if png:
            folder = Path(png)
            folder.mkdir(parents=True, exist_ok=True)
            for k, page in enumerate(pages, 1):
                written.append(folder / f"page-{k:02d}.png")
                with whole_file(written[-1]) as part:
                    page.save(part, "PNG")
        if pdf:
            written.append(Path(pdf))
            more = pages[1:]
            with whole_file(pdf) as part:
                pages[0].save(part, "PDF", resolution=150, save_all=True, append_images=more)
    except OSError as error:
        where = png if png and not written else pdf or png
        raise UndersongError(
            f"cannot be written ({error.strerror or error})", str(where)
        ) from error
    return written
