"""The whole form of an arrangement, from its parts."""

from __future__ import annotations

from engine.arrangement import Arrangement, Form
from engine.form.figure import find_figures
from engine.form.line import find_doublings, find_line
from engine.form.sections import find_phrases, find_sections


def find_form(arrangement: Arrangement) -> Form:
    """What the page is made of; `arrangement.form` is not looked at.

    An arrangement without notes or bars has an empty form.
    """
    if not arrangement.bars or not arrangement.notes:
        return Form()
    figures = find_figures(arrangement)
    line = find_line(arrangement, figures)
    sections = find_sections(arrangement)
    return Form(
        sections=sections,
        phrases=find_phrases(arrangement, sections, line),
        figures=figures,
        line=line,
        doublings=find_doublings(arrangement, line),
    )
