"""The report of a take: one page of HTML, or a PDF, with the marked score, measures and slips."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

from engine.arrangement import Arrangement
from engine.errors import UndersongError
from engine.review import PassReview
from practice.listen.spoken_account import say_review, say_where
from practice.progress.canvas import Canvas, make_figure
from practice.progress.paper import A4_IN, Paper
from practice.progress.progress_page import STYLE
from practice.progress.progress_plots import Plot, svg_text
from practice.report.marked_page import MarkedSystem, draw_systems, stack_systems
from practice.report.report_plots import draw_report
from practice.whole_file import whole_file

#: Systems on a page of the PDF.
SYSTEMS_A_PAGE = 5


@dataclass(frozen=True)
class Report:
    """What is reported on. Attributes: text: the score with ids; title: of the take."""

    arrangement: Arrangement
    text: str
    title: str
    passes: Sequence[PassReview]


def report_svg(report: Report) -> str:
    """The marked score of the longest pass."""
    one = longest_pass(report)
    return stack_systems(draw_systems(report.text, report.arrangement, one), report.title)


def longest_pass(report: Report) -> PassReview:
    """The pass with the most notes."""
    if not report.passes:
        raise UndersongError("no pass was found in it", report.title, "nothing to report")
    return max(report.passes, key=lambda one: len(one.notes))


def report_html(report: Report) -> str:
    """Every pass: what it came to in words, the plots, the marked score."""
    body = "\n".join(_body(report))
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(report.title)}</title>\n<style>{STYLE}"
        "pre { white-space: pre-wrap; font: inherit; font-size: .9rem; }\n"
        "</style>\n"
        f"</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _body(report: Report) -> Iterator[str]:
    yield f"<h1>{escape(report.title)}</h1>"
    if not report.passes:
        yield "<p>No pass was found in it.</p>"
    for number, one in enumerate(report.passes, 1):
        where = say_where(report.arrangement, one.played.from_q, one.played.to_q)
        yield f"<h2>Pass {number}: {escape(where)}</h2>"
        yield f"<pre>{escape(chr(10).join(_say(report, one, number)))}</pre>"
        for plot in _plots(report, one):
            words = escape(plot.words)
            drawn = _labelled(svg_text(plot), words)
            yield f'<figure class="{plot.name}">{drawn}<figcaption>{words}</figcaption></figure>'
        marked = stack_systems(draw_systems(report.text, report.arrangement, one), where)
        words = (
            "The page as played. A bar beside a head: late to the right, early to the left, 60 ms "
            "the longest; brackets: left out; a diamond: what was struck instead."
        )
        marked = _own_ids(marked, f"p{number}-")
        yield f"<figure>{_labelled(marked, words)}<figcaption>{words}</figcaption></figure>"


def _say(report: Report, one: PassReview, number: int) -> list[str]:
    """The account in words; text fonts lack the signs for the doubles."""
    lines = say_review(report.arrangement, one, number)
    return [line.replace("𝄫", "♭♭").replace("𝄪", "×") for line in lines]


def _plots(report: Report, one: PassReview, canvas: Canvas = make_figure) -> Iterator[Plot]:
    from matplotlib import rc_context

    with rc_context({"font.size": 8}):
        yield from draw_report(report.arrangement, one, canvas)


def _labelled(svg: str, words: str) -> str:
    return svg.replace("<svg ", f'<svg role="img" aria-label="{words}" ', 1)


def _own_ids(svg: str, prefix: str) -> str:
    """Ids of a drawing made its own, so that several can stand in one page."""
    svg = re.sub(r'\bid="', f'id="{prefix}', svg)
    svg = re.sub(r'href="#', f'href="#{prefix}', svg)
    svg = re.sub(r"#(?=[\w-]+ (?:g\.|\w+[ ,{]))", f"#{prefix}", svg)  # in its style sheet
    return svg.replace("url(#", f"url(#{prefix}")


def write_report_pdf(report: Report, path: str, cache_dir: Path) -> None:
    """The same on A4: the words, the plots, then the marked score as pictures of 200 dpi.

    Raises:
        UndersongError: the file cannot be written.
    """
    from matplotlib.backends.backend_pdf import PdfPages

    try:
        with whole_file(path) as part, PdfPages(part, metadata={"Title": report.title}) as pdf:
            for number, one in enumerate(report.passes, 1):
                for page in _words_and_plots(report, one, number):
                    pdf.savefig(page)
                systems = draw_systems(report.text, report.arrangement, one)
                for k in range(0, len(systems), SYSTEMS_A_PAGE):
                    pdf.savefig(_score_page(systems[k : k + SYSTEMS_A_PAGE], cache_dir))
    except OSError as error:
        raise UndersongError(f"cannot be written ({error.strerror})", path) from error


def _words_and_plots(report: Report, one: PassReview, number: int) -> list[Any]:
    heights_in = [plot.figure.get_figheight() for plot in _plots(report, one)]
    paper = Paper([report.title, "", *_say(report, one, number), ""], heights_in)
    for plot in _plots(report, one, paper.canvas):
        plot.figure.suptitle(plot.title, x=0.01, ha="left")
    return paper.pages


def _score_page(systems: Sequence[MarkedSystem], cache_dir: Path) -> Any:
    import io

    from matplotlib.figure import Figure
    from PIL import Image

    svg = stack_systems(systems, "")
    picture = Image.open(io.BytesIO(_rasterise(svg, cache_dir)))
    figure = Figure(figsize=A4_IN)
    share = picture.height / picture.width * (A4_IN[0] - 1.0) / A4_IN[1]
    ax = figure.add_axes((0.5 / A4_IN[0], 0.95 - share, 1 - 1.0 / A4_IN[0], share))
    ax.imshow(picture, interpolation="none")
    ax.set_axis_off()
    return figure


def _rasterise(svg: str, cache_dir: Path) -> bytes:
    import resvg_py

    from practice.engraving.fonts import music_font, text_font

    faces = ("DejaVuSans", "STIXGeneral", "STIXGeneralItalic", "STIXGeneralBol")
    return bytes(
        resvg_py.svg_to_bytes(
            svg_string=svg,
            zoom=1.55,
            skip_system_fonts=True,
            font_files=[str(music_font(cache_dir / "fonts")), *(str(text_font(f)) for f in faces)],
            font_family="STIXGeneral",
            serif_family="STIXGeneral",
        )
    )
