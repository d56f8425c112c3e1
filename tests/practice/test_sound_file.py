"""A performance as a sound file: exactly as played, whole or not at all."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
import pytest
import soundfile

from engine.errors import UndersongError
from engine.performance import KeyEvent
from engine.tone.piano import RATE_HZ, Piano, render_key
from practice.sound.sound import load_piano, pack_piano, unpack_piano
from practice.sound.sound_file import LEAD_IN_S, write_sound


@pytest.fixture(scope="module")
def piano() -> Piano:
    return Piano(RATE_HZ, (render_key(60),) * 88)


def read_left(path: Path) -> np.ndarray:
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (2, 2, RATE_HZ)
        return np.frombuffer(file.readframes(file.getnframes()), "<i2")[::2].astype(float)


def test_strokes_begin_at_their_samples(piano: Piano, tmp_path: Path) -> None:
    """Clicks (channel 10) begin with a full sample, so that they can be found exactly."""
    times = [5.0, 5.37, 6.0]
    events = [KeyEvent(t, 0.0, b"\x99\x4c\x7f") for t in times]
    length_s = write_sound(tmp_path / "x.wav", piano, events)
    sound = read_left(tmp_path / "x.wav")
    assert len(sound) / RATE_HZ == pytest.approx(length_s)
    found = [int(np.flatnonzero(np.abs(sound[a:]) > 3000)[0]) + a for a in (0, 20_000, 40_000)]
    assert found == [round((t - 5.0 + LEAD_IN_S) * RATE_HZ) for t in times]


def test_the_pedal_is_heard(piano: Piano, tmp_path: Path) -> None:
    note = [KeyEvent(0.0, 0.0, b"\x90\x3c\x50"), KeyEvent(0.2, 0.0, b"\x80\x3c\x40")]
    pedal = [KeyEvent(0.1, 0.0, b"\xb0\x40\x7f"), KeyEvent(1.5, 0.0, b"\xb0\x40\x00")]
    end = [KeyEvent(2.0, 0.0, b"\x90\x48\x01")]
    levels = []
    for name, events in (
        ("dry", [*note, *end]),
        ("held", sorted([*note, *pedal, *end], key=lambda e: e.time_s)),
    ):
        write_sound(tmp_path / f"{name}.wav", piano, events)
        sound = read_left(tmp_path / f"{name}.wav")
        levels.append(np.sqrt(np.mean(sound[int(1.2 * RATE_HZ) : int(1.5 * RATE_HZ)] ** 2)))
    assert levels[1] > 5 * levels[0]


def test_flac_holds_the_very_samples_of_wav(piano: Piano, tmp_path: Path) -> None:
    """FLAC loses nothing (RFC 9639, section 1); read back by libsndfile."""
    events = [KeyEvent(1.0, 0.0, b"\x90\x3c\x50"), KeyEvent(1.2, 0.0, b"\x90\x43\x30")]
    for name in ("x.wav", "x.flac"):
        write_sound(tmp_path / name, piano, events)
    assert (tmp_path / "x.flac").read_bytes()[:4] == b"fLaC"
    read, rate_hz = soundfile.read(tmp_path / "x.flac", dtype="int16")
    assert rate_hz == RATE_HZ
    assert np.array_equal(read[:, 0], read_left(tmp_path / "x.wav").astype(np.int16))
    assert (tmp_path / "x.flac").stat().st_size < (tmp_path / "x.wav").stat().st_size


def test_silence_is_refused_and_leaves_no_file(piano: Piano, tmp_path: Path) -> None:
    with pytest.raises(UndersongError, match="nothing to hear"):
        write_sound(tmp_path / "x.wav", piano, [KeyEvent(0.0, 0.0, b"\xb0\x40\x7f")])
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_said(piano: Piano, tmp_path: Path) -> None:
    with pytest.raises(UndersongError, match="cannot be written"):
        write_sound(tmp_path / "no" / "x.wav", piano, [KeyEvent(0.0, 0.0, b"\x90\x3c\x50")])


def test_the_rendered_piano_is_kept_and_read_back(
    piano: Piano, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("practice.sound.sound.render_piano", lambda: piano)
    first = load_piano(tmp_path)
    monkeypatch.setattr("practice.sound.sound.render_piano", None)  # not to be called again
    again = load_piano(tmp_path)
    assert again.rate_hz == first.rate_hz
    assert np.array_equal(again.key(60).soft, first.key(60).soft)
    assert again.key(72).energy == first.key(72).energy


@pytest.mark.parametrize("damage", [b"", b"PK rubbish", b"nonsense"])
def test_a_damaged_cache_is_rendered_anew(
    piano: Piano, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, damage: bytes
) -> None:
    monkeypatch.setattr("practice.sound.sound.render_piano", lambda: piano)
    load_piano(tmp_path)
    (file,) = tmp_path.iterdir()
    file.write_bytes(damage)
    assert load_piano(tmp_path) is piano
    assert unpack_piano(file.read_bytes()).rate_hz == RATE_HZ


def test_packing_is_exact(piano: Piano) -> None:
    again = unpack_piano(pack_piano(piano))
    assert all(
        np.array_equal(a.bright, b.bright) for a, b in zip(again.keys, piano.keys, strict=True)
    )
