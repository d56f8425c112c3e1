"""`undersong plan`: what it prints and writes, and the command that starts each item."""

from __future__ import annotations

import json
import shlex
from datetime import UTC, datetime
from pathlib import Path

import pytest

from engine.arrangement import Arrangement
from practice.drill import find_span
from practice.drills.sheet_file import read_sheet
from practice.plan.plan import make_plan
from practice.plan.plan_facts import (
    gather_facts,
)
from practice.plan.plan_rules import RATINGS
from practice.plan.plan_words import say_command, say_what
from practice.store.store import Store
from tests.practice.kept_history import evening, keep_pass, part_of

NOW = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


def test_every_item_starts_with_one_command(store: Store, pans: Arrangement) -> None:
    inlet, water = pans.form.sections[1], pans.form.sections[2]
    for day in range(3):
        parts = [part_of(pans, inlet, tempo=0.7), part_of(pans, water, tempo=0.7, off=9)]
        keep_pass(store, pans, evening(day), parts)
    facts = gather_facts(store, pans, "my song.musicxml", evening(30))
    items = make_plan(facts, evening(30))
    assert {"cold", "slower", "new"} <= {item.kind for item in items}
    for item in items:
        words = shlex.split(say_command(item, facts))
        if item.span is None:
            assert words == []
            continue
        assert words[:3] == ["undersong", "play", "my song.musicxml"]
        if "--bars" in words:
            assert find_span(pans, words[words.index("--bars") + 1]) == item.span
        assert say_what(item, facts).startswith(item.kind)


def test_the_command_says_and_writes_the_plan(exercises: Path, tmp_path: Path) -> None:
    import io

    from practice.cli import main
    from practice.environment import Environment, ExitStatus

    out = io.StringIO()
    env = Environment(stdout=out, variables={}, now=lambda: NOW)
    score = str(exercises / "salt-pans-night-shift.musicxml")
    words = ["plan", score, "--data", str(tmp_path), "--json", "-"]
    assert main(words, env) == ExitStatus.DONE
    told = json.loads(out.getvalue())
    assert told["version"] == 1
    assert {row["kind"] for row in told["items"]} == {"new"}
    assert {rule["name"] for rule in told["rules"]} == {"new"}
    started = told["items"][0]["command"].split()
    assert started[:2] == ["undersong", "play"]
    sheet = read_sheet(tmp_path / "drills" / f"{started[-1]}.toml")
    assert sheet.where == ("bars 1-4",)
    assert (sheet.hands, sheet.ladder.start) == (("both",), 0.6)


def test_drills_of_the_player_s_own_stand_under_the_plan(exercises: Path, tmp_path: Path) -> None:
    import io
    import shlex

    from engine.drill import DrillSheet
    from practice.cli import main
    from practice.drills.kept_sheets import keep_sheet
    from practice.environment import Environment, ExitStatus

    keep_sheet(tmp_path / "drills", "slow & low", DrillSheet(where=("bars 3-4",), hands=("left",)))
    keep_sheet(tmp_path / "drills", "elsewhere", DrillSheet(where=("bars 900-901",)))
    out = io.StringIO()
    env = Environment(stdout=out, variables={}, now=lambda: NOW)
    score = str(exercises / "brine-pump.musicxml")
    assert main(["plan", score, "--data", str(tmp_path)], env) == ExitStatus.DONE
    told = out.getvalue()
    assert "Your own drill “slow & low”: bars 3–4, left hand" in told
    assert "elsewhere" not in told
    command = shlex.split(told.splitlines()[-1].strip().removeprefix("$ "))
    assert command == ["undersong", "play", score, "--drill", "slow & low"]


@pytest.mark.parametrize(
    "words",
    [
        ["--minutes", "2"],
        ["--turn", "0"],
        ["--enough", "0"],
        ["--new", "0"],
        ["--performance", "soon"],
        ["--performance", "2020-01-01"],
    ],
)
def test_what_cannot_be_planned_is_one_line(exercises: Path, tmp_path: Path, words) -> None:
    import io

    from practice.cli import main
    from practice.environment import Environment, ExitStatus

    err = io.StringIO()
    env = Environment(stderr=err, stdout=io.StringIO(), variables={}, now=lambda: NOW)
    score = str(exercises / "evaporation.musicxml")
    assert main(["plan", score, "--data", str(tmp_path), *words], env) == ExitStatus.FAILED
    assert err.getvalue().count("\n") == 1


def test_why_names_every_study_and_the_rating_of_recall(exercises: Path, tmp_path: Path) -> None:
    import io

    from practice.cli import main
    from practice.environment import Environment

    out = io.StringIO()
    env = Environment(stdout=out, variables={}, now=lambda: NOW)
    score = str(exercises / "evaporation.musicxml")
    main(["plan", score, "--data", str(tmp_path), "--why"], env)
    said = out.getvalue()
    for word in ("Carter and Grahn 2016", "Allen 2013", "no direct evidence", "Evidence: weak"):
        assert word in said
    assert all(f"{rating}: {what}" in said for rating, what in RATINGS)
    out.truncate(0)
    main(["plan", score, "--data", str(tmp_path), "--why", "--blocked"], env)
    assert "Carter" not in out.getvalue()
