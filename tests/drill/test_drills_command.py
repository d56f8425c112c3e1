"""`undersong drills`: kept drills listed, renamed and deleted, and nothing lost by mistake."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from engine.drill import DrillSheet
from practice.cli import main
from practice.drills.kept_sheets import find_sheet, keep_sheet, list_sheets, rename_sheet
from practice.drills.sheet_file import DrillError, write_sheet
from practice.environment import Environment, ExitStatus

MINE = DrillSheet("mine", where=("bars 5-8",), hands=("left",))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    keep_sheet(tmp_path / "drills", "mine", MINE)
    keep_sheet(tmp_path / "drills", "yours", MINE)
    return tmp_path / "drills"


def drills(folder: Path, *words: str, answers: str = "") -> tuple[ExitStatus, str, str]:
    out, err = io.StringIO(), io.StringIO()
    env = Environment(stdin=io.StringIO(answers), stdout=out, stderr=err, variables={})
    status = main(["drills", *words, "--data", str(folder.parent)], env)
    return status, out.getvalue(), err.getvalue()


def names(folder: Path) -> list[str]:
    return [one.name for one in list_sheets(folder)]


def test_each_is_listed_in_a_line_also_what_cannot_be_read(folder: Path) -> None:
    (folder / "bent.toml").write_text("where = [")
    status, said, _ = drills(folder)
    assert status == ExitStatus.DONE
    bent, mine, yours = said.splitlines()
    assert bent.startswith("bent: ")
    assert "bent.toml" in bent
    assert mine.startswith("mine: ")
    assert "left hand" in mine
    assert yours.startswith("yours: ")


def test_where_none_is_kept_it_says_how_to_keep_one(tmp_path: Path) -> None:
    status, said, _ = drills(tmp_path / "drills")
    assert status == ExitStatus.DONE
    assert said.startswith("No drills kept yet.")


def test_a_renamed_drill_is_the_same_under_its_new_name(folder: Path) -> None:
    status, _, _ = drills(folder, "--rename", "mine", "left hand, slow")
    assert status == ExitStatus.DONE
    assert names(folder) == ["left hand, slow", "yours"]
    found = find_sheet("left hand, slow", folder)
    assert (found.where, found.hands, found.name) == (MINE.where, MINE.hands, "left hand, slow")


def test_one_that_cannot_be_read_is_renamed_as_it_is(folder: Path) -> None:
    (folder / "bent.toml").write_text("where = [")
    assert rename_sheet(folder, "bent", "straight").read_text() == "where = ["


def test_letters_of_a_name_may_become_large_or_small(folder: Path) -> None:
    drills(folder, "--rename", "mine", "Mine")
    assert names(folder) == ["Mine", "yours"]


@pytest.mark.parametrize(
    "words",
    [("mine", "Yours"), ("mine", "ladder"), ("mine", "a/b"), ("nobody’s", "ours"), ("no", "ours"),
     ("today-1", "ours"), ("mine", "today-9")],
)  # fmt: skip
def test_what_cannot_be_renamed_stays_and_is_told_in_a_line(
    folder: Path, words: tuple[str, str]
) -> None:
    write_sheet(folder / "today-1.toml", MINE)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    status, said, err = drills(folder, "--rename", *words)
    assert (status, said, err.count("\n")) == (ExitStatus.FAILED, "", 1)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_deleted_only_when_yes_is_the_answer(folder: Path) -> None:
    status, said, _ = drills(folder, "--delete", "mine", answers="y\n")
    assert (status, said.splitlines()[-1]) == (ExitStatus.FAILED, "Left as it is.")
    assert names(folder) == ["mine", "yours"]
    status, said, _ = drills(folder, "--delete", "mine", answers="yes\n")
    assert status == ExitStatus.DONE
    assert names(folder) == ["yours"]


@pytest.mark.parametrize("name", ["nobody", "", "ladder", "../takes"])
def test_what_is_not_there_or_not_the_player_s_is_not_deleted(folder: Path, name: str) -> None:
    status, _, err = drills(folder, "--delete", name, answers="yes\n")
    assert (status, err.count("\n")) == (ExitStatus.FAILED, 1)
    assert names(folder) == ["mine", "yours"]


def test_a_drill_that_cannot_be_written_anew_is_still_there(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(Path, "rename", refuse)
    with pytest.raises(DrillError, match="Read-only"):
        rename_sheet(folder, "mine", "ours")
    assert names(folder) == ["mine", "yours"]


def test_the_question_stands_apart_from_why_a_drill_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "drills").mkdir()
    (tmp_path / "drills" / "broken.toml").write_text("x = [", encoding="utf-8")
    said = drills(tmp_path / "drills", "--delete", "broken", answers="no\n")[1]
    assert "write it as TOML. Delete it?" in said
