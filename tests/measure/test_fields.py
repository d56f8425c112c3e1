"""The page that explains the measures names the fields of the result: every one is there."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from engine.result import to_json
from tests.conftest import ROOT
from tests.measure.golden import TAKES, Take, figures_of

PAGE = ROOT / "engine" / "measure" / "README.md"
ROW = re.compile(r"^\| ([^|]+) \| (`[^|]+`) \| (`[^|]+`) \|$", re.MULTILINE)


def rows() -> list[tuple[str, list[str], list[str]]]:
    """(question, fields with the measure before each, test modules) of the table."""
    found = []
    for question, fields, tests in ROW.findall(PAGE.read_text(encoding="utf-8")):
        names = re.findall("`([^`]+)`", fields)
        measure = names[0].partition(".")[0]
        whole = [names[0], *(f"{measure}.{name}" for name in names[1:])]
        found.append((question, whole, re.findall("`([^`]+)`", tests)))
    return found


@pytest.fixture(scope="module")
def results() -> list[dict]:
    return [json.loads(json.dumps(to_json(_measures(make())))) for make in TAKES.values()]


def _measures(take: Take) -> object:
    return figures_of(take)["measures"]


def holds(thing: object, path: list[str]) -> bool:
    """Whether a path leads somewhere, in any item of the lists on the way."""
    if not path:
        return True
    if isinstance(thing, list):
        return any(holds(item, path) for item in thing)
    return isinstance(thing, dict) and path[0] in thing and holds(thing[path[0]], path[1:])


def test_the_table_covers_all_measures() -> None:
    assert len(rows()) >= 26
    assert {fields[0].partition(".")[0] for _, fields, _ in rows()} == {
        "notes", "timing", "evenness", "octaves", "lead", "pedal", "balance", "form",
    }  # fmt: skip


@pytest.mark.parametrize("row", rows(), ids=lambda row: row[0])
def test_every_field_named_is_in_some_result(row, results) -> None:
    _, fields, tests = row
    for field in fields:
        assert any(holds(result, field.split(".")) for result in results), field
    for name in tests:
        assert (Path(__file__).parent / name).exists(), name


def test_every_estimate_of_a_result_is_named(results) -> None:
    """The other way round: no number of evenness is left unexplained."""
    named = {field for _, fields, _ in rows() for field in fields}
    for result in results:
        if "places" in result["evenness"]:
            for name, value in result["evenness"].items():
                if isinstance(value, dict):
                    assert f"evenness.{name}" in named, name
