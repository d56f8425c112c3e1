"""The whole form of an arrangement, from its parts."""

from __future__ import annotations

from engine.arrangement import Arrangement, Form
from engine.form.figure import find_figures
from engine.form.harmony import find_harmonies
from engine.form.line import find_doublings, find_line
from engine.form.sections import find_phrases, find_sections
from engine.form.twins import find_twins


def find_form(arrangement: Arrangement) -> Form:
    """What the page is made of; `arrangement.form` is not looked at.

    An arrangement without notes or bars has an empty form.
    """
    if not arrangement.bars or not arrangement.notes:
        return Form()
    figures = find_figures(arrangement)
    line = find_line(arrangement, figures)
    doublings = find_doublings(arrangement, line)
    melody = {*line, *(copy for _, copy in doublings)}
    sections = find_sections(arrangement)
    return Form(
        sections=sections,
        phrases=find_phrases(arrangement, sections, line),
        twins=find_twins(arrangement, figures),
        figures=figures,
        line=line,
        doublings=doublings,
        harmonies=find_harmonies(arrangement, melody),
    )
