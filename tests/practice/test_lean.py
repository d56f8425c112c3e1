"""What is not asked for is not loaded: start-up stays quick and standard output stays clean."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = ("pygame", "music21", "verovio", "matplotlib", "numpy", "rtmidi", "sqlite3", "mido")


def loaded_after(code: str) -> set[str]:
    """Top-level packages loaded by a fresh interpreter that has run the code."""
    tail = "import sys; print('\\n' + ' '.join(sorted(m.split('.')[0] for m in sys.modules)))"
    out = subprocess.run(
        [sys.executable, "-c", f"{code}\n{tail}"], capture_output=True, text=True, check=True
    ).stdout
    return set(out.splitlines()[-1].split())


def test_help_loads_nothing_heavy():
    loaded = loaded_after(
        "import sys; sys.argv = ['undersong', '--help']; from practice.cli import run\n"
        "try:\n    run()\nexcept SystemExit:\n    pass"
    )
    assert not loaded & set(HEAVY)


@pytest.mark.parametrize(
    "module", ["practice.listen.spoken_account", "engine.review", "practice.library"]
)
def test_a_review_needs_no_window(module: str):
    loaded = loaded_after(f"import {module}")
    assert not loaded & {"pygame", "verovio", "matplotlib", "music21", "rtmidi"}


def test_json_on_standard_output_stands_alone(tmp_path, exercises):
    score = exercises / "brine-pump.musicxml"
    command = [sys.executable, "-m", "practice.cli", "play", str(score), "--player", "demo"]
    command += ["--bars", "1-2", "--passes", "1", "--speed", "50", "--json", "-"]
    command += ["--data", str(tmp_path)]
    out = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert out.lstrip().startswith("{")
    assert out.rstrip().endswith("}")
