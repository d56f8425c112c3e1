"""The page played to the player."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from engine.arrangement import Arrangement, Span, notes_in, whole_span
from engine.errors import SpanError
from engine.form import find_form
from engine.performance import DAMPER, pair_notes
from engine.read import read_arrangement
from practice.sound.page import PageChoice, play_page


@pytest.fixture(scope="module")
def page(exercises: Path) -> Arrangement:
    return read_arrangement(exercises / "evaporation.musicxml")


def test_every_note_is_played_at_its_marked_time(page: Arrangement) -> None:
    played = pair_notes(play_page(page, PageChoice(whole_span(page)))).notes
    table = page.table
    rows = [i for i in range(len(page.notes)) if table["unison"][i] == i and not table["grace"][i]]
    expected = sorted((round(float(table["onset_s"][i]), 6), int(table["pitch"][i])) for i in rows)
    assert sorted((round(n.onset_s, 6), n.pitch) for n in played) == expected


@pytest.mark.parametrize("rate", [0.5, 0.8, 1.25])
def test_tempo_scales_everything(page: Arrangement, rate: float) -> None:
    at_mark = play_page(page, PageChoice(Span(0, 3)))
    scaled = play_page(page, PageChoice(Span(0, 3), rate=rate))
    onsets = [[e.time_s for e in events if e.data[0] == 0x90] for events in (at_mark, scaled)]
    assert np.allclose(np.array(onsets[0]) / rate, onsets[1])


def test_a_span_begins_at_its_own_start(page: Arrangement) -> None:
    events = play_page(page, PageChoice(Span(4, 5)), start_s=100.0)
    first = int(notes_in(page, Span(4, 5), "both")[0])
    rest_s = page.table["onset_s"][first] - page.seconds_at(float(page.bars[4].onset_q))
    assert min(e.time_s for e in events if e.data[0] == 0x90) == pytest.approx(100.0 + rest_s)


@pytest.mark.parametrize("hands", ["left", "right"])
def test_one_hand_alone(page: Arrangement, hands: str) -> None:
    played = pair_notes(play_page(page, PageChoice(whole_span(page), hands))).notes  # type: ignore[arg-type]
    pitches = {page.notes[i].pitch for i in notes_in(page, whole_span(page), hands)}  # type: ignore[arg-type]
    assert {n.pitch for n in played} == pitches


def test_the_line_and_the_figure_alone(exercises: Path) -> None:
    page = read_arrangement(exercises / "brine-pump.musicxml")
    form = find_form(page)
    for part, count in (
        ("line", len(set(form.line) | {c for _, c in form.doublings})),
        ("figure", len({i for f in form.figures for cell in f.occurrences for i in cell})),
    ):
        played = pair_notes(play_page(page, PageChoice(whole_span(page), part=part))).notes  # type: ignore[arg-type]
        assert len(played) == count > 0


def test_the_written_pedal_is_obeyed_or_left_out(page: Arrangement) -> None:
    def moves(pedal: bool) -> list[int]:
        events = play_page(page, PageChoice(whole_span(page), pedal=pedal))
        return [e.data[2] for e in events if e.data[0] == 0xB0 and e.data[1] == DAMPER]

    assert moves(True).count(127) == len([p for p in page.pedals if p.kind == "damper"])
    assert moves(True)[-1] == 0
    assert moves(False) == []


def test_nothing_to_play_is_said(exercises: Path) -> None:
    page = read_arrangement(exercises / "two-sluices.musicxml")
    with pytest.raises(SpanError, match="nothing to play"):
        play_page(page, PageChoice(whole_span(page), part="figure"))
