"""Drills kept by name: one name, found by the command line, the plan and the window alike."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from engine.drill import DrillSheet, Ladder
from practice.drills.kept_sheets import (
    LONGEST_NAME,
    check_name,
    find_sheet,
    keep_sheet,
    list_sheets,
)
from practice.drills.ready_made import READY_MADE
from practice.drills.sheet_file import DrillError, write_sheet

MINE = DrillSheet("mine", where=("bars 5-8",), hands=("left",), ladder=Ladder(start=0.45))


def test_what_is_kept_is_found_by_its_name(tmp_path: Path) -> None:
    keep_sheet(tmp_path / "drills", "left hand, slow", MINE)
    assert find_sheet("left hand, slow", tmp_path / "drills") == MINE


@pytest.mark.parametrize(
    "name",
    ["", "   ", "a/b", "a\\b", "..", ".mine", "mine.toml", "mine.JSON", "a\nb", "a:b", "mine.",
     "con", "LPT1", "x" * (LONGEST_NAME + 1)],
)  # fmt: skip
def test_what_cannot_be_a_name_is_refused_and_writes_nothing(tmp_path: Path, name: str) -> None:
    for refuse in (lambda: keep_sheet(tmp_path, name, MINE), lambda: check_name(name)):
        with pytest.raises(DrillError):
            refuse()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["mine", "Übung 3", "左手", "a & b (slow)", "bars 5–8"])
def test_names_of_every_alphabet_are_kept(tmp_path: Path, name: str) -> None:
    keep_sheet(tmp_path, name, MINE)
    assert [one.name for one in list_sheets(tmp_path)] == [name]


@pytest.mark.parametrize("name", ["ladder", "today-1"])
def test_names_of_our_own_are_not_written_over(tmp_path: Path, name: str) -> None:
    with pytest.raises(DrillError):
        keep_sheet(tmp_path, name, MINE)


def test_one_that_had_the_name_is_replaced_whole(tmp_path: Path) -> None:
    keep_sheet(tmp_path, "mine", MINE)
    keep_sheet(tmp_path, "mine", replace(MINE, overlap=1))
    assert find_sheet("mine", tmp_path) == replace(MINE, overlap=1)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.toml"]


def test_the_list_has_the_plan_s_first_and_says_what_cannot_be_read(tmp_path: Path) -> None:
    keep_sheet(tmp_path, "alpha", MINE)
    for number in (10, 2):
        write_sheet(tmp_path / f"today-{number}.toml", MINE)
    (tmp_path / "broken.toml").write_text("where = 3 =")
    told = list_sheets(tmp_path)
    assert [one.name for one in told] == ["today-2", "today-10", "alpha", "broken"]
    assert told[3].sheet is None
    assert "not understood" in told[3].trouble


def test_a_folder_that_is_not_there_holds_none(tmp_path: Path) -> None:
    assert list_sheets(tmp_path / "nowhere") == ()


def test_ready_made_ones_and_files_are_found_and_others_are_named(tmp_path: Path) -> None:
    assert find_sheet("ladder", tmp_path) == READY_MADE["ladder"]
    write_sheet(tmp_path / "file.json", MINE)
    assert find_sheet(str(tmp_path / "file.json"), tmp_path) == MINE
    keep_sheet(tmp_path, "mine", MINE)
    with pytest.raises(DrillError, match=r"one of: mine, ladder"):
        find_sheet("other", tmp_path)
