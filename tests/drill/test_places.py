"""The places of a drill, found on the exercises."""

from __future__ import annotations

from pathlib import Path

import pytest

from engine.arrangement import Arrangement, Span, whole_span
from engine.drill import DrillSheet
from engine.errors import UndersongError
from practice.drills.places import Weaknesses, find_places
from practice.library import open_arrangement


@pytest.fixture(scope="module")
def page(exercises: Path, tmp_path_factory: pytest.TempPathFactory) -> Arrangement:
    return open_arrangement(
        str(exercises / "salt-pans-night-shift.musicxml"), tmp_path_factory.mktemp("c")
    )


def find(page: Arrangement, *where: str, known: Weaknesses | None = None) -> list[Span]:
    return find_places(page, DrillSheet(where=where), known or Weaknesses())


def test_whole_bars_and_section(page: Arrangement) -> None:
    assert find(page, "whole") == [whole_span(page)]
    (bars,) = find(page, "bars 10-12")
    assert [page.bars[b].number for b in (bars.from_bar, bars.to_bar)] == ["10", "12"]
    assert find(page, "10-12") == [bars]
    section = page.form.sections[0]
    assert find(page, f"section {section.name}") == [Span(section.from_bar, section.to_bar - 1)]


def test_a_phrase_by_number_lies_where_the_form_says(page: Arrangement) -> None:
    phrase = page.form.phrases[1]
    (span,) = find(page, "phrase 2")
    assert page.bars[span.from_bar].onset_q <= phrase.from_q
    last = page.bars[span.to_bar]
    assert last.onset_q < phrase.to_q <= last.onset_q + last.duration_q


def test_twins_are_two_places_that_reach_past_their_parting(page: Arrangement) -> None:
    twins = page.form.twins[0]
    first, second = find(page, "twins 1")
    for span, start, parting in ((first, twins.first_q, 0), (second, twins.second_q, 1)):
        assert page.bars[span.from_bar] == page.bar_at(start)
        assert (
            span.to_bar > page.bar_at(twins.parting[parting]).index
            or span.to_bar == len(page.bars) - 1
        )


def test_a_slip_and_the_weakest_bars_have_a_bar_around_them(page: Arrangement) -> None:
    known = Weaknesses(bars=(20, 4, 21), slips=(0, 30))
    assert find(page, "slip 2", known=known) == [Span(29, 31)]
    assert find(page, "slip 1", known=known) == [Span(0, 1)]
    assert find(page, "weakest 1", known=known) == [Span(19, 21)]
    assert find(page, "weakest 3", known=known) == [Span(3, 5), Span(19, 22)]


def test_a_place_named_twice_is_one(page: Arrangement) -> None:
    assert len(find(page, "bars 10-12", "10-12")) == 1


@pytest.mark.parametrize(
    "where",
    ["", "verse 2", "twins 99", "slip 1", "weakest 2", "bars 900", "section Z9", "phrase x"],
)
def test_what_is_not_there_is_said(page: Arrangement, where: str) -> None:
    with pytest.raises(UndersongError) as told:
        find(page, where)
    assert str(told.value)
    assert "\n" not in str(told.value)
