"""Drills written down and read back."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.drill import DrillSheet, Ladder
from practice.drills.sheet_file import (
    DrillError,
    parse_sheet,
    read_sheet,
    sheet_as_dict,
    write_sheet,
)

SHEETS = st.builds(
    DrillSheet,
    name=st.text(max_size=20),
    where=st.lists(st.text(min_size=1, max_size=12), min_size=1, max_size=3).map(tuple),
    hands=st.lists(st.sampled_from(["left", "right", "both"]), min_size=1, max_size=3).map(tuple),
    pulse=st.sampled_from(["free", "strict"]),
    order=st.sampled_from(["turns", "backwards", "anywhere"]),
    overlap=st.integers(0, 3),
    rest_beats=st.integers(0, 8),
    from_memory=st.booleans(),
    break_after_min=st.floats(0, 90),
    ladder=st.builds(
        Ladder, way=st.sampled_from(["level", "step", "alternate"]), goal=st.floats(0.1, 2)
    ),
)


@given(SHEETS)
def test_what_is_written_is_read_back(
    tmp_path_factory: pytest.TempPathFactory, sheet: DrillSheet
) -> None:
    folder = tmp_path_factory.mktemp("drills")
    for name in ("a.toml", "a.json"):
        write_sheet(folder / name, sheet)
        assert read_sheet(folder / name) == sheet
    assert parse_sheet(sheet_as_dict(sheet)) == sheet


def test_a_drill_written_by_hand(tmp_path: Path) -> None:
    file = tmp_path / "octaves.toml"
    file.write_text(
        """
        name = "octaves"
        where = ["bars 5-8", "twins 1"]
        hands = "right"
        overlap = 1
        [ladder]
        start = "60%"
        goal = 1
        """,
        encoding="utf-8",
    )
    sheet = read_sheet(file)
    assert sheet.where == ("bars 5-8", "twins 1")
    assert sheet.hands == ("right",)
    assert (sheet.ladder.start, sheet.ladder.goal) == (0.6, 1.0)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("where = [", "not understood"),
        ('tempo = "60%"', "tempo is not known"),
        ('pulse = "swung"', "pulse cannot be 'swung'"),
        ("where = []", "where cannot be"),
        ('hands = ["feet"]', "hands cannot be"),
        ("passes = 2.5", "passes cannot be 2.5"),
        ("overlap = -1", "overlap cannot be -1"),
        ("from_memory = 1", "from_memory cannot be 1"),
        ('[ladder]\nstart = "fast%"', "start cannot be"),
        ("[ladder]\ngood_to_rise = 0", "good_to_rise cannot be 0"),
        ("ladder = 3", "ladder is not a table"),
    ],
)
def test_what_cannot_be_meant_is_said_in_one_line(tmp_path: Path, text: str, what: str) -> None:
    file = tmp_path / "drill.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(DrillError, match=what) as told:
        read_sheet(file)
    assert "\n" not in str(told.value)
    assert "drill.toml" in str(told.value)


def test_a_missing_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(DrillError, match="cannot be read"):
        read_sheet(tmp_path / "no.toml")
