"""Channels of the mixer: nobody empties a queue that the mixer may be about to take from.

The channel here does as pygame 2.6.1's (src_c/mixer.c): an end sees what waits, and only later,
when the interpreter is free, takes what waits then; where nothing is left, the program ends.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from practice.sound.mixer_channels import LEFT_S, WASH_S, MixerChannels

ROOT = Path(__file__).resolve().parents[2]
SILENCE = "silence"
BLOCK_S = 0.0116


class Mixer:
    """Time, and the channels of one mixer."""

    def __init__(self, count: int) -> None:
        self.now_s = 0.0
        self.channels = [Channel(self) for _ in range(count)]

    def move_on(self, by_s: float) -> None:
        self.now_s += by_s
        for channel in self.channels:
            channel.catch_up()


class Channel:
    def __init__(self, mixer: Mixer) -> None:
        self._mixer = mixer
        self.sound: str | None = None
        self.waits: str | None = None
        self.plays = False
        self.ends_s = 0.0
        #: What an end that waits for the interpreter has seen.
        self.pending = ""

    def catch_up(self) -> None:
        """What has come about by now: an end waits for the interpreter for a second at most."""
        while True:
            if self.plays and self._mixer.now_s >= self.ends_s:
                self.plays = False
                self.pending = "nothing waits" if self.waits is None else "something waits"
            elif self.pending and self._mixer.now_s >= self.ends_s + 1.0:
                self.finish_end(self.ends_s + 1.0)
            else:
                return

    def finish_end(self, at_s: float) -> None:
        saw, self.pending = self.pending, ""
        if saw == "something waits":
            assert self.waits is not None, "the mixer takes what is not there: the program ends"
            self.sound, self.waits = self.waits, None
            self._begin(at_s)
        elif saw:
            self.sound = None

    def _begin(self, at_s: float) -> None:
        length_s = WASH_S if self.sound == SILENCE else BLOCK_S
        self.ends_s, self.plays = at_s + length_s, True

    def get_busy(self) -> bool:
        self.catch_up()
        return self.plays

    def get_queue(self) -> str | None:
        return self.waits

    def queue(self, sound: str) -> None:
        if self.sound is None:
            self.sound = sound
            self._begin(self._mixer.now_s)
        else:
            self.waits = sound

    def play(self, sound: str) -> None:
        # it begins, and the call waits for the interpreter for longer than a block
        self.sound = sound
        self._begin(self._mixer.now_s)
        self._mixer.now_s += 4 * BLOCK_S
        self.catch_up()
        self.sound, self.waits = sound, None


TIMES = st.sampled_from([0.0, BLOCK_S, 3.0])
STEPS = st.tuples(st.sampled_from(["queue", "change", "end"]), TIMES)


@settings(max_examples=300)
@given(st.lists(STEPS, min_size=20, max_size=60), st.integers(2, 3))
def test_no_end_finds_an_empty_queue_where_it_saw_something(
    steps: list[tuple[str, float]], count: int
) -> None:
    mixer = Mixer(count)
    channels = MixerChannels(list(mixer.channels), SILENCE)
    for number, (what, by_s) in enumerate(steps):
        if what == "queue" and channels.current.get_queue() is None:
            channels.current.queue(f"block {number}")
        elif what == "change" and channels.change(mixer.now_s):
            channels.current.play(f"block {number}")
        elif what == "end":
            channels.current.finish_end(mixer.now_s)
        mixer.move_on(by_s)
    assert channels.current in mixer.channels


def test_the_model_ends_the_program_where_a_queue_is_emptied_too_soon() -> None:
    mixer = Mixer(1)
    (channel,) = mixer.channels
    channel.queue("one")
    channel.queue("two")
    mixer.move_on(BLOCK_S)
    channel.play("three")
    try:
        channel.finish_end(mixer.now_s)
    except AssertionError:
        return
    raise AssertionError("the model shows nothing")


def test_a_channel_that_was_left_is_washed_and_used_again() -> None:
    mixer = Mixer(2)
    first, second = mixer.channels
    channels = MixerChannels([first, second], SILENCE)
    first.sound = first.waits = "never begun"
    assert channels.change(0.0)
    assert channels.current is second
    assert not channels.change(LEFT_S / 2)
    assert (first.sound, first.waits) == ("never begun", "never begun")
    mixer.move_on(LEFT_S)
    assert not channels.change(mixer.now_s)
    assert (first.sound, first.waits) == (SILENCE, None)
    mixer.move_on(WASH_S + LEFT_S + 1.0)
    assert not first.get_busy()
    assert channels.change(mixer.now_s)
    assert channels.current is first


def test_the_real_mixer_is_left_in_one_piece() -> None:
    # with --careless the same ends in a segmentation fault, more often than not
    command = [sys.executable, "-m", "tests.tone.stuck_mixer", "--seconds", "2"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout.split()[-1]) > 0
