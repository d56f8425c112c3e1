"""Feeding the card: a block that nothing would start is started, and a gap is counted."""

from __future__ import annotations

import time

import numpy as np
import pygame
import pytest

from practice.clock import ManualClock, SystemClock
from practice.sound.audio_clock import AudioClock
from practice.sound.audio_device import AudioDevice
from tests.waiting import wait_for


@pytest.fixture(autouse=True)
def no_card(monkeypatch: pytest.MonkeyPatch) -> None:
    """The mixer's channels are the test's own."""
    monkeypatch.setattr(pygame.mixer, "init", lambda *_a, **_k: None)
    monkeypatch.setattr(pygame.mixer, "get_init", lambda: None)
    monkeypatch.setattr(pygame.mixer, "set_num_channels", lambda _n: None)
    monkeypatch.setattr(pygame.mixer, "Sound", lambda buffer: buffer)


class StuckChannel:
    """Plays at once what it is told to; the third block queued in the first stays in it."""

    def __init__(self, number: int) -> None:
        self.played: list[bytes] = []
        self.queued: object | None = None
        self._number = number
        self._count = 0

    def get_queue(self) -> object | None:
        return self.queued

    def get_busy(self) -> bool:
        return self.queued is None and self._count > 0

    def queue(self, sound: bytes) -> None:
        self._count += 1
        if self._count == 3 and self._number == 0:
            self.queued = sound
        else:
            self.played.append(sound)
            time.sleep(0.001)

    def play(self, sound: bytes) -> None:
        assert self.queued is None, "the mixer may be about to take what is queued"
        self._count += 1
        self.played.append(sound)


def test_a_stuck_queue_is_woken_and_nothing_is_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[StuckChannel] = []

    def channel(number: int) -> StuckChannel:
        made.append(StuckChannel(number))
        return made[-1]

    monkeypatch.setattr(pygame.mixer, "Channel", channel)
    numbers = iter(range(1, 10_000))

    def fill(frames: int) -> np.ndarray:
        return np.full((frames, 2), next(numbers), np.int16)

    device = AudioDevice(fill, AudioClock(44_100), SystemClock(), 44_100, 64)
    end = time.monotonic() + 30
    while len(made[1].played) < 8 and time.monotonic() < end:
        time.sleep(0.005)
    device.close()
    played = [*made[0].played, *made[1].played[:8]]
    assert [int(np.frombuffer(block, np.int16)[0]) for block in played] == list(range(1, 11))
    assert made[0].queued is not None
    assert device.gaps == 1
    assert device.failures == 0


class ChangingChannel(StuckChannel):
    """Looks idle at the first look after each block was queued: one is just being begun."""

    def get_queue(self) -> object | None:
        return None

    def get_busy(self) -> bool:
        self._looks = getattr(self, "_looks", 0) + 1
        return self._looks % 2 == 0

    def queue(self, sound: bytes) -> None:
        self.played.append(sound)
        time.sleep(0.001)


def test_between_two_blocks_is_no_gap(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[ChangingChannel] = []
    monkeypatch.setattr(
        pygame.mixer, "Channel", lambda n: made.append(ChangingChannel(n)) or made[-1]
    )
    card = AudioClock(44_100)
    device = AudioDevice(lambda n: np.zeros((n, 2), np.int16), card, SystemClock(), 44_100, 64)
    end = time.monotonic() + 5
    while len(made[0].played) < 10 and time.monotonic() < end:
        time.sleep(0.005)
    device.close()
    assert device.gaps == 0
    assert card.running


class IdleChannel:
    """A card that asks for a block when it is told to, and has none at first."""

    def __init__(self, _number: int = 0) -> None:
        self.playing: object | None = None
        self.queued: object | None = None

    def get_queue(self) -> object | None:
        return self.queued

    def get_busy(self) -> bool:
        return self.playing is not None

    def queue(self, sound: object) -> None:
        if self.playing is None:
            self.playing = sound
        else:
            self.queued = sound

    def take(self) -> None:
        self.playing, self.queued = self.queued, None


def test_a_block_given_to_an_idle_card_is_not_taken_before_the_card_asks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Out of the queue at once, it would be seen up to a block early; a clock read off the
    earliest sightings would be wrong for a minute."""
    seen: list[int] = []
    card, channel = AudioClock(44_100), IdleChannel()
    monkeypatch.setattr(card, "hear_taken", lambda _now_s, sample: seen.append(sample))
    monkeypatch.setattr(pygame.mixer, "Channel", lambda _n: channel)
    monkeypatch.setattr(AudioDevice, "_feed", lambda _self: None)  # fed by hand
    silent = np.zeros((64, 2), np.int16)
    device = AudioDevice(lambda _n: silent, card, ManualClock(), 44_100, 64)
    device._feed_once()
    device._feed_once()
    assert seen == []
    channel.take()  # the first block is over, the second has begun
    device._feed_once()
    assert seen == [64]
    channel.playing = channel.queued = None  # it ran dry
    device._feed_once()
    device._feed_once()
    assert (device.gaps, seen) == (1, [64])
    channel.take()
    device._feed_once()
    assert seen == [64, 256]
    device.close()


def test_a_card_that_takes_nothing_has_stopped_until_it_does_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    gone = [True]

    def feed_once(_self: AudioDevice) -> bool:
        if gone[0]:
            raise OSError("the card has gone")
        return True

    monkeypatch.setattr(pygame.mixer, "Channel", IdleChannel)
    monkeypatch.setattr(AudioDevice, "_feed_once", feed_once)
    silent = np.zeros((64, 2), np.int16)
    device = AudioDevice(lambda _n: silent, AudioClock(44_100), ManualClock(), 44_100, 64)
    wait_for(lambda: device.stopped)  # this clock moves on with each look
    gone[0] = False
    wait_for(lambda: not device.stopped)
    device.close()


def test_a_fault_in_the_mixer_is_silence_and_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[StuckChannel] = []
    monkeypatch.setattr(pygame.mixer, "Channel", lambda n: made.append(StuckChannel(n)) or made[-1])

    def fill(_frames: int) -> np.ndarray:
        raise ArithmeticError("a planted fault")

    device = AudioDevice(fill, AudioClock(44_100), SystemClock(), 44_100, 64)
    end = time.monotonic() + 5
    while len(made[0].played) < 3 and time.monotonic() < end:
        time.sleep(0.005)
    device.close()
    assert device.failures >= 3
    assert not any(made[0].played[0])
