"""Progress as one page: plain HTML with its plots inside, to be read, printed and kept."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from html import escape

from practice.progress.news import find_news
from practice.progress.progress import HandProgress, Progress, SectionProgress
from practice.progress.progress_plots import Plot, draw_plots, svg_text
from practice.progress.progress_text import say_fingerings, say_time

STYLE = """
:root { color: #22303a; background: #fff; font: 16px/1.5 Georgia, "DejaVu Serif", serif; }
body { max-width: 46rem; margin: 2rem auto; padding: 0 1rem; }
h1 { font-size: 1.7rem; margin-bottom: 0; } h2 { margin-top: 2.2rem; font-size: 1.2rem; }
figure { margin: 1rem 0; break-inside: avoid; } figure svg { width: 100%; height: auto; }
figcaption, .small { font-size: .85rem; color: #47565f; }
table { border-collapse: collapse; width: 100%; font-size: .9rem; break-inside: avoid; }
th, td { text-align: left; vertical-align: top; padding: .25rem .6rem .25rem 0;
  border-bottom: 1px solid #c9d2d6; }
svg * { stroke-linejoin: round; stroke-linecap: butt; }
svg text { font-family: Georgia, "DejaVu Serif", serif; }
@page { size: A4; margin: 16mm; }
@media print { body { margin: 0; max-width: none; } h2 { break-after: avoid; } }
"""


def progress_html(progress: Progress, made: datetime) -> str:
    """The page.

    Args:
        made: when, with its offset from UTC.
    """
    plots = list(draw_plots(progress))
    body = "\n".join(_body(progress, plots, made))
    title = escape(f"Progress: {progress.title}")
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _body(progress: Progress, plots: list[Plot], made: datetime) -> Iterator[str]:
    yield f"<h1>{escape(progress.title)}</h1>"
    yield f'<p class="small">Progress on {made:%Y-%m-%d, %H:%M}</p>'
    yield f"<p>{escape(_summary(progress))}</p>"
    yield from _news(progress)
    named = {plot.name: plot for plot in plots}
    yield from _figure(named["map"])
    for section in progress.sections:
        yield from _section(section, plots)
    for name in ("slips", "time"):
        if name in named:
            yield f"<h2>{escape(named[name].title)}</h2>"
            yield from _figure(named[name])
    yield (
        '<p class="small">Intervals are 95 %. Evenness is compared among passes within 10 % of the '
        "usual tempo of the section. Stages and good passes are working definitions, settable. "
        "Nothing here is a diagnosis; if playing hurts, stop.</p>"
    )


def _summary(progress: Progress) -> str:
    t = progress.totals
    if not t.passes:
        return "No pass has been kept yet."
    return (
        f"{t.good} of {t.passes} passes good ({t.good / t.passes:.0%}) on {t.days} days from "
        f"{t.first} to {t.last}; {say_time(progress.seconds)} at the keys."
    )


def _news(progress: Progress) -> Iterator[str]:
    news = find_news(progress)
    if not progress.totals.passes:
        return
    yield "<h2>What you may not know</h2>"
    if news:
        yield "<ul>" + "".join(f"<li>{escape(one.words)}</li>" for one in news) + "</ul>"
    else:
        yield "<p>Nothing yet that chance would not do as well; more days will tell more.</p>"


def _section(section: SectionProgress, plots: list[Plot]) -> Iterator[str]:
    bars = f"bars {section.from_bar} to {section.to_bar}"
    yield f"<h2>{escape(section.name)}</h2>"
    yield f'<p class="small">{escape(bars)}</p>'
    played = [h for h in section.hands if h.days]
    if not played:
        yield "<p>Not played yet.</p>"
        return
    heads = "".join(f"<th>{name}</th>" for name in ("hand", "stage", "because", "passes"))
    yield f"<table><thead><tr>{heads}</tr></thead>"
    yield "<tbody>" + "".join(map(_row, played)) + "</tbody></table>"
    said = [(h.hands, c.words) for h in played for c in h.claims]
    said += [(h.hands, told) for h in played if (told := say_fingerings(h.fingerings))]
    if said:
        lines = (f"<li>{escape(hands)}: {escape(words)}</li>" for hands, words in said)
        yield "<ul>" + "".join(lines) + "</ul>"
    number = f"{section.index + 1}"
    for plot in plots:
        if plot.name in (
            f"section-{number}",
            *(f"{kind}-{number}-{h.hands}" for h in played for kind in ("places", "months")),
        ):
            yield from _figure(plot)


def _row(hand: HandProgress) -> str:
    at = hand.standing
    cells = (hand.hands, at.stage, at.reason, f"{at.good} of {at.passes} good")
    return "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"


def _figure(plot: Plot) -> Iterator[str]:
    words = escape(plot.words)
    svg = svg_text(plot).replace("<svg ", f'<svg role="img" aria-label="{words}" ', 1)
    yield f"<figure>{svg}<figcaption>{words}</figcaption></figure>"
