"""What can be drilled here: all there is in the arrangement, and nothing that is not there."""

from __future__ import annotations

from dataclasses import fields as fields_of
from dataclasses import replace

import pytest

from engine.arrangement import Arrangement, Span
from engine.drill import DrillSheet, Ladder
from practice.drill import dash
from practice.drills.kept_sheets import KeptSheet
from practice.drills.offers import Offer, Shelf, list_offers, list_places
from practice.drills.places import NOTHING_KNOWN, Weaknesses, find_places, say_place
from practice.drills.ready_made import READY_MADE
from practice.drills.sheet_fields import change_field, get_value, limits_of, list_fields
from practice.drills.sheet_file import parse_sheet, sheet_as_dict
from practice.drills.sheet_words import say_sheet

SPAN = Span(8, 11)
KNOWN = Weaknesses((9, 6), (9, 9, 6))
MINE = DrillSheet("mine", where=("bars 9-12",))


def offers_in(arrangement: Arrangement, shelf: Shelf = Shelf(KNOWN)) -> dict[str, Offer]:  # noqa: B008
    return {one.title: one for one in list_offers(arrangement, SPAN, "left", shelf)}


def test_every_kind_of_the_command_line_is_offered(shift: Arrangement) -> None:
    offered = [one.sheet for one in list_offers(shift, SPAN, "both", Shelf(KNOWN))]
    for sheet in READY_MADE.values():
        assert any(replace(one, where=sheet.where) == sheet for one in offered), sheet.name
    places = {place for one in offered for place in one.where}
    assert {"whole", "bars 9-12", "section Inlet", "phrase 1", "twins 1", "slip 1"} <= places


def test_kinds_are_of_the_bars_and_hand_chosen(shift: Arrangement) -> None:
    ladder = offers_in(shift)["Tempo ladder"]
    assert (ladder.sheet.where, ladder.sheet.hands) == (("bars 9-12",), ("left",))
    assert find_places(shift, ladder.sheet) == [SPAN]
    assert offers_in(shift)["One hand, the other, both"].sheet.hands == ("left", "right", "both")
    assert offers_in(shift)["Run-through"].sheet == READY_MADE["run-through"]


def test_all_that_is_offered_can_be_found_or_says_why_not(shift: Arrangement) -> None:
    for one in list_offers(shift, SPAN, "both", Shelf(KNOWN)):
        assert one.trouble == "", one.title
        assert one.bars
        assert find_places(shift, one.sheet, KNOWN)
    nothing = offers_in(shift, Shelf())
    assert "no weak bars are known" in nothing["The weakest bars"].trouble
    assert not [title for title in nothing if "slip" in title]


def test_a_slip_s_bar_is_offered_once(shift: Arrangement) -> None:
    slips = [one for title, one in offers_in(shift).items() if "slip" in title]
    assert [one.sheet.where for one in slips] == [("slip 1",), ("slip 3",)]
    assert [find_places(shift, one.sheet, KNOWN) for one in slips] == [[Span(8, 10)], [Span(5, 7)]]


def test_kept_drills_stand_by_their_name_and_broken_ones_say_why(shift: Arrangement) -> None:
    kept = (KeptSheet("slow", MINE), KeptSheet("broken", trouble="not understood"))
    offered = offers_in(shift, Shelf(KNOWN, kept))
    assert (offered["slow"].name, offered["slow"].sheet) == ("slow", MINE)
    assert offered["broken"].trouble == "not understood"
    elsewhere = KeptSheet("far", replace(MINE, where=("bars 900-901",)))
    assert "no bar 900" in offers_in(shift, Shelf(KNOWN, (elsewhere,)))["far"].trouble


def test_places_lead_where_they_say(shift: Arrangement) -> None:
    words = list_places(shift, SPAN, KNOWN)
    assert words[:2] == ("bars 9-12", "whole")
    assert {"section Ebb again", "twins 2", "weakest 2"} <= set(words)
    assert "weakest 3" not in words
    for place in words:
        assert find_places(shift, DrillSheet(where=(place,)), KNOWN)
    assert not [w for w in list_places(shift, SPAN, NOTHING_KNOWN) if w[:4] in ("slip", "weak")]


def test_a_span_in_words_is_found_again(shift: Arrangement) -> None:
    last = len(shift.bars) - 1
    for first in range(last):
        for to_bar in (first, min(first + 3, last)):
            span = Span(first, to_bar)
            assert find_places(shift, DrillSheet(where=(say_place(shift, span),))) == [span]


NUMBERS = [
    f.name
    for f in list_fields(MINE)
    if f.name not in ("where", "hands", "pulse", "ladder.way", "other_hand")
]


@pytest.mark.parametrize("name", NUMBERS)
@pytest.mark.parametrize("step", [-1, 1])
def test_a_number_goes_to_its_limit_and_no_further(name: str, step: int) -> None:
    sheet = MINE
    for _ in range(120):
        sheet = change_field(sheet, name, step)
        least, most = limits_of(sheet, name)
        assert least <= get_value(sheet, name) <= most
        assert parse_sheet(sheet_as_dict(sheet)) == sheet
    assert get_value(sheet, name) == limits_of(sheet, name)[step > 0]
    assert change_field(sheet, name, step) == sheet
    assert change_field(sheet, name, -step) != sheet


def test_numbers_stay_on_their_grid() -> None:
    sheet = replace(MINE, ladder=Ladder(start=0.62))
    up, down = (change_field(sheet, "ladder.start", step).ladder.start for step in (1, -1))
    assert (up, down) == (0.65, 0.6)
    for _ in range(9):
        sheet = change_field(sheet, "ladder.step", -1)
    assert sheet.ladder.step == 0.001
    assert change_field(sheet, "ladder.step", 1).ladder.step == 0.01


def test_the_first_tempo_stays_between_never_below_and_the_goal() -> None:
    sheet = replace(MINE, ladder=Ladder(start=0.3, slowest=0.3, goal=0.35))
    slower = change_field(sheet, "ladder.start", -1)
    assert (slower.ladder.start, slower.ladder.slowest) == (0.25, 0.25)
    assert change_field(change_field(sheet, "ladder.start", 1), "ladder.start", 1).ladder.start == (
        0.35
    )
    assert change_field(
        replace(sheet, ladder=Ladder(start=0.35, goal=0.35)), "ladder.goal", -1
    ) == (replace(sheet, ladder=Ladder(start=0.35, goal=0.35)))


def test_choices_go_round(shift: Arrangement) -> None:
    places = list_places(shift, SPAN, KNOWN)
    sheet = change_field(MINE, "where", 1, places)
    assert sheet.where == ("whole",)
    assert change_field(sheet, "where", -1, places) == MINE
    assert change_field(replace(MINE, where=("bars 1", "bars 3")), "where", 1, places).where == (
        "bars 9-12",
    )
    for name, count in (("hands", 5), ("pulse", 2), ("ladder.way", 3), ("other_hand", 2)):
        sheet, seen = MINE, set()
        for _ in range(count):
            seen.add(sheet)
            sheet = change_field(sheet, name, 1)
        assert (sheet, len(seen)) == (MINE, count)


def test_what_changes_nothing_says_so() -> None:
    free = {f.name: f.idle for f in list_fields(replace(MINE, pulse="free"))}
    assert free["ladder.start"] == free["rest_beats"] == "only with the strict pulse"
    assert free["overlap"] == free["passes"] == ""
    level = {f.name: f.idle for f in list_fields(replace(MINE, ladder=Ladder(way="level")))}
    assert level["ladder.start"]
    assert not level["ladder.goal"]
    assert {f.name.rpartition(".")[2] for f in list_fields(MINE)} <= (
        {f.name for f in fields_of(DrillSheet)} | {f.name for f in fields_of(Ladder)}
    )


def test_a_sheet_in_words() -> None:
    assert say_sheet(replace(MINE, hands=("left",), overlap=1)) == (
        "bars 9–12, left hand, strict pulse from 60 % to 100 % by 5 %, 4 beats between passes,"
        " 1 bar on beyond the end"
    )
    assert say_sheet(READY_MADE["run-through"]) == (
        "whole, both hands, at your own pace, 1 pass, nothing interrupts"
    )
    assert "straight on" in say_sheet(replace(MINE, rest_beats=0))


def test_bars_are_read_with_a_dash_and_names_stay_as_they_are_typed() -> None:
    assert dash("bars 5-8@2 and bars 12a-13") == "bars 5–8@2 and bars 12a–13"
    assert dash("section 1-2") == "section 1-2"
