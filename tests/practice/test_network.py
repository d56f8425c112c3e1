"""No network: the whole way from page to kept take opens no internet socket."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

GUARDED = """
import socket, sys

def refuse(event, args):
    if event == "socket.__new__" and args[1] in (socket.AF_INET, socket.AF_INET6):
        raise RuntimeError("an internet socket was opened")
    if event in ("socket.getaddrinfo", "socket.gethostbyname", "urllib.Request"):
        raise RuntimeError(f"the network was asked: {event}")

sys.addaudithook(refuse)
"""
RUN = GUARDED + "from practice.cli import run\nsys.exit(run())\n"


def run_guarded(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", RUN, *arguments], capture_output=True, text=True, encoding="utf-8"
    )


def test_the_guard_guards():
    code = GUARDED + "socket.socket(socket.AF_INET)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert "an internet socket was opened" in done.stderr


def test_from_page_to_kept_take_without_a_network(tmp_path: Path, exercises: Path):
    score = str(exercises / "evaporation.musicxml")
    data = ["--data", str(tmp_path)]
    demo = ["--player", "demo", "--speed", "50", "--bars", "1-4", "--no-window"]
    for command in (["play", score, *demo], ["takes"], ["export", "1", str(tmp_path / "1.mid")]):
        done = run_guarded(*command, *data)
        assert done.returncode == 0, done.stderr
    done = run_guarded("review", score, str(tmp_path / "1.mid"), *data)
    assert done.returncode == 0, done.stderr


def test_a_score_that_points_elsewhere_is_not_followed(tmp_path: Path):
    score = tmp_path / "away.musicxml"
    score.write_text(
        '<?xml version="1.0"?><!DOCTYPE score-partwise SYSTEM "http://localhost/away.dtd">'
        "<score-partwise><part-list/></score-partwise>",
        encoding="utf-8",
    )
    done = run_guarded("review", str(score), "1", "--data", str(tmp_path))
    assert done.returncode == 1
    assert "network" not in done.stderr
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.parametrize("address", ["http://localhost/x.musicxml", "file:///etc/hostname"])
def test_an_address_is_not_a_score(tmp_path: Path, address: str):
    done = run_guarded("review", address, "1", "--data", str(tmp_path))
    assert done.returncode == 1
    assert len(done.stderr.splitlines()) == 1
