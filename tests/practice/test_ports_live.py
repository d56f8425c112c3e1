"""Real MIDI ports, on a JACK server without a sound card: what is sent arrives, whatever happens
to the cable or to the program."""

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from jack_server import fairly, running_server, server_environment, why_not

from engine.arrangement import Span
from engine.read import read_arrangement
from practice.player import CHARACTERS, perform
from practice.store.recording import read_events, read_recording, write_recording
from practice.store.store import Store

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
SCORE = ROOT / "exercises" / "brine-pump.musicxml"
UNDERSONG = [sys.executable, "-m", "practice.cli"]


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    """Four bars of an exercise, played with a few slips, as a MIDI file of about nine seconds."""
    arrangement = read_arrangement(SCORE)
    rng = np.random.default_rng(8)
    events = perform(arrangement, CHARACTERS["hurried"], rng, span=Span(0, 3))
    path = tmp_path_factory.mktemp("ports") / "four-bars.mid"
    write_recording(path, events)
    write_recording(path, read_events(path))  # notes of one tick in order of pitch
    return path


class Play:
    """`undersong play` in a process of its own."""

    def __init__(self, env, folder, *options):
        self.folder = folder
        self.result = folder / "result.json"
        self._said = folder / "said.txt"
        command = [*UNDERSONG, "play", str(SCORE), "--no-window", "--data", str(folder)]
        command += ["--json", str(self.result), *options]
        self.process = subprocess.Popen(
            command, env=env, cwd=ROOT, stdout=self._said.open("w"), stderr=subprocess.STDOUT
        )

    @property
    def said(self):
        return self._said.read_text(encoding="utf-8")

    def wait_for(self, words, timeout_s=20.0):
        """Seconds until it said so."""
        start = time.monotonic()
        while words not in self.said:
            assert time.monotonic() < start + timeout_s, f"{words!r} not in:\n{self.said}"
            assert self.process.poll() is None, self.said
            time.sleep(0.05)
        return time.monotonic() - start

    def interrupt(self):
        """End it as Ctrl-C would; its result."""
        self.process.send_signal(signal.SIGINT)
        assert self.process.wait(30) == 0, self.said
        return json.loads(self.result.read_text(encoding="utf-8"))


@pytest.fixture
def play(jack, tmp_path):
    """Start `undersong play` in a folder of its own; it is ended with the test."""
    started = []

    def start(*options, env=None):
        for one in started:
            one.process.kill()
        folder = tmp_path / str(len(started))
        folder.mkdir()
        started.append(Play(env or jack, folder, *options))
        return started[-1]

    yield start
    for one in started:
        one.process.kill()
        one.process.wait(10)


def send(env, path, *options, client="Test piano"):
    """Begin to play a file into a port of its own."""
    command = [sys.executable, str(HERE / "midi_sender.py"), str(path), client, *options]
    return subprocess.Popen(command, env=env)


def undersong(*command):
    return subprocess.run(
        [*UNDERSONG, *command], cwd=ROOT, capture_output=True, text=True, encoding="utf-8"
    )


def kept_events(folder):
    """The events of the first take, as they came."""
    with Store(folder / "takes.db") as store:
        return store.events(1)


def played_notes(result):
    rows = [n for one in result["passes"] for n in one["notes"] if n["played_index"] is not None]
    rows += result["outside"]
    return [n["velocity"] for n in sorted(rows, key=lambda n: n["played_index"])]


def test_every_note_sent_is_in_the_result_and_found_as_review_finds_it(jack, play, recording):
    def attempt():
        listening = play("--in", "test piano")
        assert send(jack, recording, "--speed", "2", "--chatter").wait(60) == 0
        result = listening.interrupt()
        sent = [n.velocity for n in read_recording(recording).notes]
        assert played_notes(result) == sent
        again = listening.folder / "again.json"
        done = undersong(
            "review", str(SCORE), str(recording), "--live", "--json", str(again), "--data",
            str(listening.folder),
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        expected = {
            n["played_index"]: (n["what"], n["score_id"])
            for one in json.loads(again.read_text())["passes"]
            for n in one["notes"]
            if n["played_index"] is not None
        }
        live = {
            n["played_index"]: (n["live_what"], n["live_score_id"])
            for one in result["passes"]
            for n in one["notes"]
            if n["played_index"] is not None
        }
        both = live.keys() & expected.keys()
        assert len(both) > 0.9 * len(sent)
        assert {i: live[i] for i in both} == {i: expected[i] for i in both}

    fairly(jack, attempt)


def test_unplugged_in_mid_note_and_plugged_in_again(jack, play, recording):
    def attempt():
        listening = play()
        first = send(jack, recording, "--speed", "2")
        listening.wait_for("Listening")
        time.sleep(1.0)
        first.kill()
        first.wait(10)
        assert listening.wait_for("keyboard unplugged") < 2.5
        second = send(jack, recording, "--speed", "2")
        assert second.wait(60) == 0
        listening.interrupt()
        kept = kept_events(listening.folder)
        struck = [e.data[1] for e in kept if e.data[0] == 0x90]
        lifted = [e.data[1] for e in kept if e.data[0] == 0x80]
        sent = [n.pitch for n in read_recording(recording).notes]
        assert struck[-len(sent) :] == sent
        assert len(struck) > len(sent)
        assert sorted(struck) == sorted(lifted)

    fairly(jack, attempt)


def test_killed_in_mid_pass_the_take_is_there(jack, play, recording):
    def attempt():
        listening = play()
        sender = send(jack, recording, "--speed", "1")
        listening.wait_for("Listening")
        time.sleep(3.0)
        listening.process.kill()
        sender.kill()
        sender.wait(10)
        pitches = [e.data[1] for e in kept_events(listening.folder) if e.data[0] == 0x90]
        sent = [n.pitch for n in read_recording(recording).notes]
        assert pitches == sent[: len(pitches)]
        last_s = read_recording(recording).notes[len(pitches)].onset_s
        assert last_s > 1.5
        exported = listening.folder / "take.mid"
        assert (
            undersong("export", "1", str(exported), "--data", str(listening.folder)).returncode == 0
        )
        assert sorted(n.pitch for n in read_recording(exported).notes) == sorted(pitches)

    fairly(jack, attempt)


def test_the_port_is_listed(jack, recording, tmp_path):
    keyboard = send(jack, recording, client="Silent upright")
    try:
        for _ in range(60):
            listed = subprocess.run(
                [*UNDERSONG, "ports", "--json", "-", "--data", str(tmp_path)],
                env=jack, cwd=ROOT, capture_output=True, text=True, check=True,
            )  # fmt: skip
            apis = {a["api"]: a for a in json.loads(listed.stdout)}
            if apis["jack"]["inputs"]:
                break
            time.sleep(0.1)
        assert apis["jack"]["inputs"] == ["Silent upright:keys"]
        assert apis["jack"]["problem"] is None
    finally:
        keyboard.kill()
        keyboard.wait(10)


def test_the_server_ends_in_mid_note_and_comes_back(play, recording):
    """All clients of a JACK server go with it; a program that goes on using one is ended by the
    server's library."""
    if reason := why_not():
        pytest.skip(reason)
    own = server_environment("ending")
    with running_server(env=own):
        listening = play("--in", "test piano", env=own)
        first = send(own, recording, "--speed", "2")
        listening.wait_for("Listening")
        time.sleep(1.0)
    first.kill()
    first.wait(10)
    assert listening.wait_for("keyboard unplugged") < 2.5
    with running_server(env=own):
        assert send(own, recording, "--speed", "2").wait(60) == 0
        listening.interrupt()
    kept = kept_events(listening.folder)
    struck = [e.data[1] for e in kept if e.data[0] == 0x90]
    sent = [n.pitch for n in read_recording(recording).notes]
    # a machine that skips a program for a period loses notes before they come here
    assert len(struck) > len(sent) * 0.9
    assert "socket" not in listening.said
