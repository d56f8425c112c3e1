"""The whole form of an arrangement, from its parts."""

from __future__ import annotations

from engine.arrangement import Arrangement, Form
from engine.form.figure import find_figures
from engine.form.harmony import find_harmonies
from engine.form.line import find_doublings, find_line
from engine.form.sections import find_phrases, find_sections
from engine.form.told import told_figures, told_phrases, told_sections
from engine.form.twins import find_twins
from engine.read.sidecar import Sidecar


def find_form(arrangement: Arrangement, sidecar: Sidecar | None = None) -> Form:
    """What the page is made of; `arrangement.form` is not looked at.

    Sections, phrases and figures that the sidecar names go before those found. An arrangement
    without notes or bars has an empty form.
    """
    if not arrangement.bars or not arrangement.notes:
        return Form()
    told = sidecar or Sidecar()
    figures = told_figures(arrangement, find_figures(arrangement), told)
    line = find_line(arrangement, figures)
    doublings = find_doublings(arrangement, line)
    melody = {*line, *(copy for _, copy in doublings)}
    sections = told_sections(arrangement, find_sections(arrangement, figures), told)
    phrases = find_phrases(arrangement, sections, line)
    return Form(
        sections=sections,
        phrases=told_phrases(arrangement, phrases, sections, told),
        twins=find_twins(arrangement, figures),
        figures=figures,
        line=line,
        doublings=doublings,
        harmonies=find_harmonies(arrangement, melody, figures),
    )
