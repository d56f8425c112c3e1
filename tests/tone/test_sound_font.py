"""A SoundFont in place of the built-in piano, and what is said where that cannot be."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from engine.errors import UndersongError
from engine.tone.piano import RATE_HZ
from engine.tone.voices import Voices
from practice.sound import sound_font
from practice.sound.sound_font import load_sound_font, make_key
from tests.tone.tiny_sound_font import ROOT, TONE_HZ, write_sound_font

KEYS = (57, 69, 81)


@pytest.fixture
def few_keys(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three octaves are enough to hear whether keys are in tune."""
    monkeypatch.setattr(sound_font, "LOWEST_KEY", min(KEYS))
    monkeypatch.setattr(sound_font, "HIGHEST_KEY", max(KEYS))
    monkeypatch.setattr(sound_font, "LONGEST_S", 1.0)


def pitch_of(sound: np.ndarray) -> float:
    """Hz of the strongest partial, between the bins by the parabola through their logarithms."""
    level = np.log(np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) + 1e-12)
    k = int(np.argmax(level))
    a, b, c = level[k - 1 : k + 2]
    return float((k + (a - c) / (2 * (a - 2 * b + c))) * RATE_HZ / len(sound))


def test_its_keys_are_heard_at_their_pitch(few_keys: None, tmp_path: Path) -> None:
    """An octave is a factor of two (SoundFont 2.04, 8.1.2: 100 cents a key)."""
    pytest.importorskip("symusic", reason="the extra soundfont is not installed")
    piano = load_sound_font(write_sound_font(tmp_path / "tone.sf2"), tmp_path / "cache")
    for key in KEYS:
        sound = piano.keys[key - min(KEYS)]
        heard = sound.soft[2000 : 2000 + 16384].astype(float)
        cents = 1200 * np.log2(pitch_of(heard) / (TONE_HZ * 2 ** ((key - ROOT) / 12)))
        assert abs(cents) < 2


def test_it_is_rendered_once(
    few_keys: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("symusic", reason="the extra soundfont is not installed")
    font = write_sound_font(tmp_path / "tone.sf2")
    first = load_sound_font(font, tmp_path / "cache")
    monkeypatch.setattr(sound_font, "_render_font", None)  # not to be called again
    again = load_sound_font(font, tmp_path / "cache")
    assert np.array_equal(again.keys[0].soft, first.keys[0].soft)


def test_without_the_library_it_is_said_in_a_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "symusic", None)
    with pytest.raises(UndersongError, match=r"no synthesiser.*undersong\[soundfont\]"):
        load_sound_font(write_sound_font(tmp_path / "tone.sf2"), None)


@pytest.mark.parametrize("damage", [b"", b"RIFF\0\0\0\0sfbk", b"nothing of the kind"])
def test_what_is_no_sound_font_is_said(tmp_path: Path, damage: bytes) -> None:
    pytest.importorskip("symusic", reason="the extra soundfont is not installed")
    (tmp_path / "bad.sf2").write_bytes(damage)
    with pytest.raises(UndersongError, match=r"not a SoundFont|nothing sounds"):
        load_sound_font(tmp_path / "bad.sf2", tmp_path)


def test_a_file_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(UndersongError, match="cannot be read"):
        load_sound_font(tmp_path / "none.sf2", None)


def test_between_a_soft_and_a_hard_stroke_it_mixes() -> None:
    """Both strokes are made equally loud; what velocity does to loudness is the piano's."""
    at = np.arange(RATE_HZ) / RATE_HZ
    soft, hard = np.sin(2 * np.pi * 220 * at), 3 * np.sin(2 * np.pi * 440 * at)
    key = make_key(soft, hard)
    piano = type("Piano", (), {"rate_hz": RATE_HZ, "key": lambda self, pitch: key})()
    shares = []
    for velocity in (10, 120):
        voices = Voices(piano, room=0.0)
        voices.play(bytes([0x90, 60, velocity]))
        level = np.abs(np.fft.rfft(voices.render(RATE_HZ // 2)[:, 0]))
        shares.append(level[220] / (level[110] + level[220]))
    assert shares[0] < 0.01
    assert shares[1] > 0.99
