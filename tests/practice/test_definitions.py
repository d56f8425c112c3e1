"""Definitions set by the player: read, kept, and in force wherever something is judged."""

from __future__ import annotations

import io
import json
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from engine.arrangement import whole_span
from engine.standing import DEFINITIONS, Definitions
from practice.cli import main
from practice.drill import Drill
from practice.environment import Environment, ExitStatus
from practice.library import open_arrangement
from practice.player import Character, SlipShares, perform
from practice.settings import Settings, load_settings, save_settings
from practice.store.importing import keep_recording
from practice.store.store import Store

NOW = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


def test_every_definition_can_be_set(tmp_path: Path) -> None:
    path = tmp_path / "settings.json"
    other = {f.name: 1 if f.type == "int" else 0.5 for f in fields(Definitions)}
    path.write_text(json.dumps({"definitions": other}))
    settings, warnings = load_settings(path)
    assert warnings == []
    assert settings.definitions == Definitions(**other)


@pytest.mark.parametrize(
    "told", [{"right_share": 1.5}, {"secure_days": 2.5}, {"recent": 0}, {"full_tempo": "fast"},
             {"steady_tempo": True}, {"unheard_of": 1}],
)  # fmt: skip
def test_what_cannot_be_meant_is_said_and_left_as_usual(tmp_path: Path, told) -> None:
    path = tmp_path / "settings.json"
    path.write_text(json.dumps({"definitions": told | {"halt_beats": 2}}))
    settings, (warning,) = load_settings(path)
    assert f"definitions.{next(iter(told))} cannot be used" in warning
    assert settings.definitions == replace(DEFINITIONS, halt_beats=2)


def test_only_what_was_set_is_written(tmp_path: Path) -> None:
    path = tmp_path / "settings.json"
    settings = Settings(definitions=replace(DEFINITIONS, secure_days=3))
    assert save_settings(path, settings) == ""
    assert json.loads(path.read_text())["definitions"] == {"secure_days": 3}
    assert load_settings(path)[0] == settings


def test_a_milder_definition_makes_passes_good_and_is_reached_by_judging_again(
    exercises: Path, tmp_path: Path
) -> None:
    score = exercises / "salt-pans-night-shift.musicxml"
    pans = open_arrangement(score, tmp_path / "cache")
    faulty = Character(slips=SlipShares(neighbour=0.08))
    drill = Drill(replace(whole_span(pans), to_bar=19))
    for k in range(3):
        events = perform(pans, faulty, np.random.default_rng(k), span=drill.span, start_s=0.5)
        when = NOW + timedelta(hours=k)
        keep_recording(tmp_path / "takes.db", pans, str(score), drill, list(events), when)
    (tmp_path / "settings.json").write_text('{"definitions": {"right_share": 0.8}}')
    out = io.StringIO()
    env = Environment(stdout=out, variables={}, now=lambda: NOW + timedelta(days=1))
    words = ["--data", str(tmp_path)]
    assert _good(tmp_path) == 0
    assert main(["store", "--judge", str(score), *words], env) == ExitStatus.DONE
    assert _good(tmp_path) == 0
    assert main(["store", "--judge", str(score), "--every", *words], env) == ExitStatus.DONE
    assert "3 takes judged again" in out.getvalue()
    assert _good(tmp_path) == 3
    assert main(["progress", str(score), *words], env) == ExitStatus.DONE
    assert "up to tempo" in out.getvalue()
    (tmp_path / "settings.json").write_text('{"definitions": {"recent": 5, "recent_good": 5}}')
    out.truncate(0)
    assert main(["progress", str(score), *words], env) == ExitStatus.DONE
    assert "up to tempo" not in out.getvalue()


def _good(folder: Path) -> int:
    with Store(folder / "takes.db") as store:
        return int(store.query("SELECT total(good) FROM passes")[0][0])
