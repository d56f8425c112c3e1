"""The mixer: exact to the sample, pedals obeyed, nothing left sounding."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.performance import KeyEvent
from engine.tone.click import ACCENT
from engine.tone.piano import RATE_HZ, Piano, render_key
from engine.tone.render import render_events
from engine.tone.voices import Voices

C4, C8 = 60, 108


def note_on(key: int, velocity: int = 80, channel: int = 0) -> bytes:
    return bytes([0x90 | channel, key, velocity])


def note_off(key: int, channel: int = 0) -> bytes:
    return bytes([0x80 | channel, key, 64])


def control(number: int, value: int, channel: int = 0) -> bytes:
    return bytes([0xB0 | channel, number, value])


@pytest.fixture(scope="session")
def piano() -> Piano:
    """A piano in which only two sounds are rendered: middle C everywhere, but C8 at the top."""
    middle, top = render_key(C4), render_key(C8)
    return Piano(RATE_HZ, tuple(top if k >= 90 else middle for k in range(21, 109)))


@pytest.fixture
def voices(piano: Piano) -> Voices:
    return Voices(piano, room=0.0)


def level(sound: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(sound))))


def test_a_message_takes_effect_at_its_sample(voices: Voices) -> None:
    voices.schedule(1000, bytes([0x99, ACCENT, 127]))
    sound = voices.render(2000)
    assert np.flatnonzero(sound[:, 0])[0] == 1000


@pytest.mark.parametrize("block", [1, 64, 333, 5000])
def test_block_size_changes_nothing(piano: Piano, block: int) -> None:
    """Live (small blocks) and offline (one large one) give the same samples."""
    events = [
        (0, note_on(C4)),
        (700, control(64, 127)),
        (1500, note_off(C4)),
        (2600, control(64, 50)),
    ]
    once, parts = Voices(piano), Voices(piano)
    for sample, data in events:
        once.schedule(sample, data)
        parts.schedule(sample, data)
    whole = once.render(5000)
    pieces = np.concatenate([parts.render(min(block, 5000 - i)) for i in range(0, 5000, block)])
    assert np.allclose(whole, pieces, atol=2e-5)


def test_a_key_let_go_is_damped_and_a_held_one_is_not(voices: Voices) -> None:
    voices.play(note_on(C4))
    voices.render(RATE_HZ // 2)
    held = level(voices.render(2000))
    voices.play(note_off(C4))
    voices.render(RATE_HZ // 2)
    assert level(voices.render(2000)) < held / 1000
    assert voices.sounding == 0


def test_the_damper_pedal_holds_and_lets_go(voices: Voices) -> None:
    voices.play(control(64, 127))
    voices.play(note_on(C4))
    voices.play(note_off(C4))
    voices.render(RATE_HZ // 2)
    assert voices.sounding == 1
    voices.play(control(64, 0))
    voices.render(RATE_HZ)
    assert voices.sounding == 0


def test_half_pedal_lies_between_up_and_down(piano: Piano) -> None:
    left = {}
    for value in (0, 64, 127):
        voices = Voices(piano, room=0.0)
        voices.play(control(64, value))
        voices.play(note_on(C4))
        voices.render(8000)
        voices.play(note_off(C4))
        voices.render(4000)
        left[value] = level(voices.render(2000))
    assert left[0] * 2 < left[64] < left[127] / 2


def test_sostenuto_holds_only_what_was_down(voices: Voices) -> None:
    voices.play(note_on(50))
    voices.play(control(66, 127))
    voices.play(note_on(55))
    voices.play(note_off(50))
    voices.play(note_off(55))
    voices.render(RATE_HZ)
    assert voices.sounding == 1


def test_the_top_has_no_dampers(voices: Voices) -> None:
    for key in (C4, 100):
        voices.play(note_on(key))
        voices.play(note_off(key))
    voices.render(RATE_HZ // 3)
    assert voices.sounding == 1


def test_soft_pedal_is_softer(piano: Piano) -> None:
    levels = []
    for value in (0, 127):
        voices = Voices(piano, room=0.0)
        voices.play(control(67, value))
        voices.play(note_on(C4))
        levels.append(level(voices.render(8000)))
    assert levels[1] < levels[0]


def test_channels_have_pedals_of_their_own(voices: Voices) -> None:
    voices.play(control(64, 127, channel=0))
    voices.play(note_on(C4, channel=1))
    voices.play(note_off(C4, channel=1))
    voices.render(RATE_HZ)
    assert voices.sounding == 0


def test_more_strokes_than_voices_stay_within_the_polyphony(piano: Piano) -> None:
    voices = Voices(piano, polyphony=64, room=0.0)
    voices.play(control(64, 127))
    for i in range(88):
        voices.play(note_on(21 + i))
    voices.render(RATE_HZ // 20)
    assert voices.sounding == 64


@pytest.mark.parametrize("message", [control(120, 0), None])
def test_everything_stops_within_twenty_milliseconds(voices: Voices, message: bytes | None) -> None:
    voices.play(control(64, 127))
    for key in range(40, 70):
        voices.play(note_on(key))
    voices.render(1000)
    if message is None:
        voices.silence()
    else:
        voices.play(message)
    voices.render(RATE_HZ // 50)
    assert voices.sounding == 0
    assert not voices.render(1000).any()


def test_all_notes_off_leaves_the_pedal_its_say(voices: Voices) -> None:
    voices.play(control(64, 127))
    voices.play(note_on(C4))
    voices.play(control(123, 0))
    voices.render(RATE_HZ // 2)
    assert voices.sounding == 1


def test_the_loudest_chord_stays_within_full_scale(piano: Piano) -> None:
    voices = Voices(piano)
    for key in range(40, 60):
        voices.play(note_on(key, 127))
    assert np.max(np.abs(voices.render(RATE_HZ // 2))) <= 1.0


@settings(max_examples=30, deadline=None)
@given(st.lists(st.binary(max_size=4), max_size=30))
def test_any_bytes_are_taken_and_silence_is_silence(piano: Piano, messages: list[bytes]) -> None:
    voices = Voices(piano, room=0.0)
    for data in messages:
        voices.play(data)
        assert np.isfinite(voices.render(50)).all()
    voices.silence()
    voices.render(RATE_HZ // 50)
    assert not voices.render(100).any()


def test_a_performance_ends_even_if_keys_were_left_down(piano: Piano) -> None:
    events = [KeyEvent(10.0, 0.0, note_on(C4)), KeyEvent(10.1, 0.0, control(64, 127))]
    sound = np.concatenate(list(render_events(piano, events, start_s=9.5)))
    assert np.flatnonzero(np.abs(sound[:, 0]) > 1e-4)[0] >= 0.5 * RATE_HZ
    assert len(sound) < 5 * RATE_HZ
    assert level(sound[-2000:]) < 1e-3
