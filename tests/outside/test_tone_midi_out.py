"""MIDI out as a second process receives it on real ports, by the numbers of the standard.

MIDI 1.0 Detailed Specification 4.2.1: note on 9n, note off 8n (or 9n with velocity 0), control
change Bn; 64 damper, 120 all sound off, 123 all notes off.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from engine.arrangement import Span
from engine.performance import KeyEvent
from engine.read import read_arrangement
from practice.sound.page import PageChoice, play_page
from tests.practice.jack_server import fairly, running_server, server_environment, why_not
from tests.waiting import wait_for

ROOT = Path(__file__).resolve().parents[2]
RECEIVER = """
import os, sys, time
os.environ.setdefault("JACK_NO_START_SERVER", "1")
import rtmidi
port = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="grand")
port.ignore_types(False, False, False)
port.open_virtual_port("strings")
port.set_callback(lambda told, _: print(bytes(told[0]).hex(), flush=True))
print("open", flush=True)
sys.stdin.read()
"""


@pytest.fixture(scope="module")
def server() -> Iterator[dict[str, str]]:
    """The environment of programs that use a JACK server without a sound card."""
    if missing := why_not():
        pytest.skip(missing)
    with running_server() as env:
        yield env


class Receiver:
    """A process with an open MIDI input."""

    def __init__(self, env: dict[str, str]) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-c", RECEIVER],
            env=env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert self._process.stdout is not None
        self._lines = self._process.stdout
        assert self._lines.readline().strip() == "open"
        self._got: list[bytes] = []

    def wait_for_a_note(self) -> None:
        """Read until a key goes down."""
        while not (self._got and self._got[-1][0] & 0xF0 == 0x90):
            line = self._lines.readline()
            assert line, "the receiver has ended"
            self._got.append(bytes.fromhex(line))

    def pull(self) -> None:
        """Be gone from one moment to the next."""
        self._process.kill()
        self._process.wait(20)

    def close(self) -> list[bytes]:
        """What came in."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._got += [bytes.fromhex(line) for line in self._lines]
        self._process.wait(20)
        return self._got


def listen(
    env: dict[str, str], exercises: Path, tmp_path: Path, *more: str
) -> subprocess.Popen[str]:
    score = str(exercises / "brine-pump.musicxml")
    command = ["listen", score, "--no-window", "--out", "grand", "--data", str(tmp_path), *more]
    return subprocess.Popen(
        [sys.executable, "-m", "practice.cli", *command],
        env={**os.environ, **env}, cwd=ROOT, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip


def keys_left_down(messages: list[bytes]) -> set[tuple[int, int]]:
    down: set[tuple[int, int]] = set()
    for data in messages:
        if data[0] & 0xF0 == 0x90 and data[2]:
            down.add((data[0] & 15, data[1]))
        elif data[0] & 0xF0 in (0x80, 0x90):
            down.discard((data[0] & 15, data[1]))
        elif data[0] & 0xF0 == 0xB0 and data[1] in (120, 123):
            # All sound off, all notes off: MIDI 1.0 Detailed Specification 4.2.1, p. 20 to 24.
            down = {key for key in down if key[0] != data[0] & 15}
    return down


def test_the_page_arrives_note_for_note(
    server: dict[str, str], exercises: Path, tmp_path: Path
) -> None:
    fairly(server, lambda: check_page(server, exercises, tmp_path))


def check_page(env: dict[str, str], exercises: Path, tmp_path: Path) -> None:
    receiver = Receiver(env)
    program = listen(env, exercises, tmp_path, "--bars", "3-4", "--tempo", "200%")
    said, _ = program.communicate(timeout=60)
    assert program.returncode == 0, said
    got = receiver.close()
    page = read_arrangement(exercises / "brine-pump.musicxml")
    sent: list[KeyEvent] = play_page(page, PageChoice(Span(2, 3), rate=2.0))
    ons = [d for d in got if d[0] & 0xF0 == 0x90]
    assert Counter(ons) == Counter(e.data for e in sent if e.data[0] & 0xF0 == 0x90)
    assert [d[1] for d in ons[::4]] == [d.data[1] for d in sent if d.data[0] & 0xF0 == 0x90][::4]
    assert not keys_left_down(got)
    assert bytes([0xB0, 123, 0]) in got[-40:]
    assert bytes([0xB0, 120, 0]) in got[-40:]
    assert bytes([0xB0, 64, 0]) in got[-40:]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ended_in_mid_note_nothing_sounds_on(
    server: dict[str, str], exercises: Path, tmp_path: Path, number: signal.Signals
) -> None:
    receiver = Receiver(server)
    program = listen(server, exercises, tmp_path, "--tempo", "30%")
    receiver.wait_for_a_note()
    program.send_signal(number)
    program.communicate(timeout=30)
    got = receiver.close()
    assert any(d[0] & 0xF0 == 0x90 for d in got)
    assert not keys_left_down(got)
    assert bytes([0xB0, 123, 0]) in got


def test_the_cable_of_the_output_is_pulled_and_then_the_server_ends(
    exercises: Path, tmp_path: Path
) -> None:
    if missing := why_not():
        pytest.skip(missing)
    own = server_environment("outlet")
    told = tmp_path / "said.txt"
    command = ["play", str(exercises / "brine-pump.musicxml"), "--player", "demo", "--out", "grand"]
    command += ["--pulse", "strict", "--no-window", "--data", str(tmp_path)]

    def times_told() -> int:
        return told.read_text("utf-8").count("no sound: grand:strings is unplugged")

    with told.open("w") as out:
        with running_server(env=own):
            receiver = Receiver(own)
            program = subprocess.Popen(
                [sys.executable, "-m", "practice.cli", *command],
                env={**os.environ, **own}, cwd=ROOT, stdout=out, stderr=subprocess.STDOUT,
            )  # fmt: skip
            receiver.wait_for_a_note()
            receiver.pull()
            wait_for(lambda: times_told() == 1)
            receiver = Receiver(own)
            receiver.wait_for_a_note()
        receiver.pull()
        wait_for(lambda: times_told() == 2)
        with running_server(env=own):
            receiver = Receiver(own)
            receiver.wait_for_a_note()
            program.send_signal(signal.SIGINT)
            assert program.wait(30) == 0, told.read_text("utf-8")
            got = receiver.close()
    assert times_told() == 2
    assert not keys_left_down(got)
