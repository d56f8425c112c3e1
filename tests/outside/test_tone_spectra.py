"""The built-in piano's spectra against a standard and published values.

- ISO 16: A4 is 440 Hz.
- R. W. Young, "Inharmonicity of Plain Wire Piano Strings", JASA 24:267 (1952), abstract: the second
  mode of the middle C string is about 1.2 cents sharp; above it, doubled every eight semitones.
- Railsback's curve (JASA 9:274, 1938; from memory): pianos are tuned 20 to 40 cents flat at the
  bottom and as much sharp at the top, and within a few cents of equal temperament in the middle.
- Time to -60 dB (Fletcher & Rossing, ch. 12; from memory, so only orders of magnitude are held to):
  15-30 s low, 8-15 s at middle C, 3-5 s at C6, 1-2 s at C7.
- Weinreich, JASA 62:1474 (1977): a prompt sound and a slower aftersound.
- Cheng, Dixon & Mauch, ICASSP 2015: dynamics have no significant effect on the decay rate.
- Dannenberg, ICMC 2006: the square law of MIDI velocity, table computed for 60 dB.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import find_peaks

from engine.tone.piano import RATE_HZ, Piano, loudness_of, render_key
from engine.tone.strings import find_pitch_hz, find_ring_s
from engine.tone.voices import Voices


def play(key: int, velocity: int = 90, seconds: float = 4.0) -> np.ndarray:
    """A lone note as the mixer renders it, mono."""
    sound = render_key(key)
    voices = Voices(Piano(RATE_HZ, (sound,) * 88), room=0.0)
    voices.play(bytes([0x90, key, velocity]))
    return voices.render(int(seconds * RATE_HZ)).sum(axis=1).astype(float)


def find_peak_hz(sound: np.ndarray, near_hz: float, width_hz: float) -> float:
    """Frequency of the strongest peak near a frequency, to a small part of a hertz."""
    n = 1 << 19
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), n))
    hz = np.fft.rfftfreq(n, 1 / RATE_HZ)
    band = np.flatnonzero(np.abs(hz - near_hz) < width_hz)
    peaks, _ = find_peaks(spectrum[band])
    best = band[peaks[np.argmax(spectrum[band][peaks])]]
    a, b, c = np.log(spectrum[best - 1 : best + 2])
    return float(hz[best] + (a - c) / (a - 2 * b + c) / 2 * (hz[1] - hz[0]))


def cents(one: float, other: float) -> float:
    return float(1200 * np.log2(one / other))


def test_a4_is_440_hz() -> None:
    assert abs(cents(find_peak_hz(play(69), 440, 10), 440.0)) < 0.5


@pytest.mark.parametrize("key", range(53, 80, 4))
def test_the_middle_is_equally_tempered_within_four_cents(key: int) -> None:
    tempered = 440.0 * 2 ** ((key - 69) / 12)
    assert abs(cents(find_peak_hz(play(key, seconds=2.0), tempered, 8), tempered)) < 4.0


def test_octaves_are_stretched_as_pianos_are() -> None:
    bottom = cents(float(find_pitch_hz(21)), 27.5)
    top = cents(find_peak_hz(play(108, seconds=0.7), 4186, 150), 4186.01)
    assert -40 < bottom < -15
    assert 20 < top < 40
    stretch = [cents(float(find_pitch_hz(k)), 440 * 2 ** ((k - 69) / 12)) for k in range(21, 109)]
    assert np.all(np.diff(stretch) > 0)


@pytest.mark.parametrize(("key", "expected"), [(60, 1.2), (68, 2.4), (76, 4.8)])
def test_second_mode_is_as_sharp_as_measured_in_six_pianos(key: int, expected: float) -> None:
    """Departure from the harmonic series of the string without stiffness, Young's measure.

    With partials 1 and 2 at f1 and f2, f2/2f1 is 3/4 of the second mode's departure in cents.
    """
    sound = play(key)
    first = find_peak_hz(sound, float(find_pitch_hz(key)), 12)
    second = find_peak_hz(sound, 2 * first, 12)
    assert cents(second, 2 * first) / 0.75 == pytest.approx(expected, rel=0.25)


def test_partials_follow_one_coefficient() -> None:
    """f_n = n f_0 sqrt(1 + B n^2): B read off each partial of a bass string is the same."""
    sound = play(45, 110)
    guess = float(find_pitch_hz(45))
    found = [find_peak_hz(sound, n * guess * (1 + 1e-4 * n * n), 14) for n in range(1, 12)]
    ranks = np.arange(1, 12)
    slope, level = np.polyfit(ranks**2, (np.array(found) / ranks) ** 2, 1)
    rest = (np.array(found) / ranks) ** 2 - (level + slope * ranks**2)
    assert 1e-4 < slope / level < 4e-4
    assert np.max(np.abs(rest)) / level < 4e-4  # a third of a cent


@pytest.mark.parametrize(
    ("key", "low", "high"), [(24, 15, 30), (60, 8, 15), (84, 3, 5), (96, 1, 2)]
)
def test_ring_by_register(key: int, low: float, high: float) -> None:
    assert low <= find_ring_s(key) <= high


def envelope_db(sound: np.ndarray, window_s: float = 0.05) -> np.ndarray:
    n = int(window_s * RATE_HZ)
    blocks = sound[: len(sound) // n * n].reshape(-1, n)
    return np.asarray(20 * np.log10(np.sqrt(np.mean(blocks**2, axis=1))))


def test_the_sound_dies_fast_at_first_and_slowly_after() -> None:
    db = envelope_db(play(72, seconds=5.0))
    early = (db[2] - db[22]) / 1.0
    late = (db[60] - db[90]) / 1.5
    assert early > 2 * late > 0


def test_hard_and_soft_strokes_fade_alike() -> None:
    """From half a second on, when the hammer's colour has gone, the fall is the same."""
    falls = [np.diff(envelope_db(play(60, v, 2.0))[[12, 36]])[0] for v in (30, 110)]
    assert falls[0] == pytest.approx(falls[1], abs=2.5)


@pytest.mark.parametrize(
    ("velocity", "db"),
    [(1, -60.00), (20, -30.02), (40, -19.19), (64, -11.50), (80, -7.79), (100, -4.04)],
)
def test_loudness_by_velocity(velocity: int, db: float) -> None:
    assert 20 * np.log10(loudness_of(velocity)) == pytest.approx(db, abs=0.01)


def test_the_rendered_level_follows_the_law() -> None:
    head = int(0.3 * RATE_HZ)
    levels = {v: np.sqrt(np.mean(play(60, v, 0.4)[:head] ** 2)) for v in (40, 64, 100)}
    fall = 20 * np.log10(levels[40] / levels[100])
    assert fall == pytest.approx(-19.19 + 4.04, abs=0.2)


def test_harder_is_brighter() -> None:
    def centroid(sound: np.ndarray) -> float:
        power = np.abs(np.fft.rfft(sound[:8192])) ** 2
        hz = np.fft.rfftfreq(8192, 1 / RATE_HZ)
        return float((hz * power).sum() / power.sum())

    assert centroid(play(48, 110, 0.5)) > 1.3 * centroid(play(48, 30, 0.5))
