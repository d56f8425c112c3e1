"""The piano rendered once: two layers of samples for every key, at one rate.

A key's sound is `soft` plus hardness times `bright`: both layers hold the same partials in the
same phase, so that mixing them is mixing spectra. Loudness by velocity is applied when played.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from engine.tone.strings import (
    AFTERSOUND_DB,
    AFTERSOUND_HZ,
    HIGHEST_KEY,
    LOWEST_KEY,
    Partials,
    find_contact_s,
    find_partials,
    find_ring_s,
)

#: Raise it whenever the model sounds different, so that old caches are passed over.
MODEL_VERSION = 1
RATE_HZ = 44_100
LONGEST_S = 8.0
#: Amplitude of a key struck with velocity 127, full scale being 1: leaves room for chords.
FULL_LEVEL = 0.2
#: The stretch of a note over which its loudness is set.
LOUDNESS_S = 0.3
_BLOCK = 256
_NEPERS_PER_DB = np.log(10.0) / 20.0

Samples = npt.NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class KeySound:
    """One key. Layers are int16, to be multiplied by their scales; shapes (n,), (m,), m <= n.

    Attributes:
        soft, bright: the layers. soft_scale, bright_scale: what one step is worth.
        energy: mean squares over the first LOUDNESS_S: soft, soft times bright, bright.
    """

    soft: Samples
    bright: Samples
    soft_scale: float
    bright_scale: float
    energy: tuple[float, float, float]

    def gains(self, amplitude: float, hardness: float) -> tuple[float, float]:
        """What to multiply each layer's steps by, for a mean amplitude (RMS) and a hardness."""
        soft, cross, bright = self.energy
        rms = np.sqrt(soft + 2 * hardness * cross + hardness**2 * bright)
        gain = amplitude / rms
        return float(gain * self.soft_scale), float(gain * hardness * self.bright_scale)


@dataclass(frozen=True, slots=True)
class Piano:
    """All keys at one sample rate; `keys[0]` is MIDI 21."""

    rate_hz: int
    keys: tuple[KeySound, ...]

    def key(self, pitch: int) -> KeySound:
        """The sound of a MIDI pitch; pitches off the keyboard sound in the nearest octave on it."""
        while pitch < LOWEST_KEY:
            pitch += 12
        while pitch > HIGHEST_KEY:
            pitch -= 12
        return self.keys[pitch - LOWEST_KEY]


def render_piano(rate_hz: int = RATE_HZ) -> Piano:
    """All 88 keys; takes some seconds."""
    return Piano(rate_hz, tuple(render_key(k, rate_hz) for k in range(LOWEST_KEY, HIGHEST_KEY + 1)))


def render_key(key: int, rate_hz: int = RATE_HZ) -> KeySound:
    """Both layers of one key."""
    soft = _render_layer(key, 0.0, rate_hz)
    bright = _render_layer(key, 1.0, rate_hz) - soft
    bright = _fade_out(bright[: _last_heard(bright)], rate_hz)
    head = slice(0, int(LOUDNESS_S * rate_hz))
    padded = np.zeros_like(soft)
    padded[: len(bright)] = bright
    a, b = soft[head], padded[head]
    energy = (float(np.mean(a * a)), float(np.mean(a * b)), float(np.mean(b * b)))
    return KeySound(*_to_steps(soft, bright), energy)


def render_partials(partials: Partials, n: int, rate_hz: int) -> npt.NDArray[np.float64]:
    """The sum of two-stage partials, all starting at phase 0, shape (n,).

    Products of phasors by blocks: sample i*256+j of a partial is (its value at i*256) times
    (its first 256 values), so that the whole note is one matrix product.
    """
    after = partials.level * 10 ** (AFTERSOUND_DB / 20)
    detuned = partials.hz + AFTERSOUND_HZ * np.sqrt(partials.hz / partials.hz[0])
    hz = np.concatenate([partials.hz, detuned])
    level = np.concatenate([partials.level, after])
    rate = np.concatenate([partials.prompt_db_s, partials.after_db_s]) * _NEPERS_PER_DB
    turn = (2j * np.pi * hz - rate) / rate_hz
    starts = np.arange(-(-n // _BLOCK)) * _BLOCK
    rows = np.exp(np.outer(starts, turn)) * (-1j * level)
    columns = np.exp(np.outer(turn, np.arange(_BLOCK)))
    sound = rows.real @ columns.real - rows.imag @ columns.imag
    return np.asarray(sound.reshape(-1)[:n])


def _render_layer(key: int, hardness: float, rate_hz: int) -> npt.NDArray[np.float64]:
    seconds = min(LONGEST_S, find_ring_s(key, 66.0))
    n = int(seconds * rate_hz)
    sound = render_partials(find_partials(key, hardness), n, rate_hz)
    rise = min(n, max(2, int(find_contact_s(key, hardness) / 2 * rate_hz)))
    sound[:rise] *= np.sin(np.linspace(0, np.pi / 2, rise)) ** 2
    sound += _render_knock(key, hardness, n, rate_hz)
    return _fade_out(sound, rate_hz)


def _render_knock(key: int, hardness: float, n: int, rate_hz: int) -> npt.NDArray[np.float64]:
    """Hammer and key-bed: a few short-lived soundboard modes, the same every time for a key."""
    rng = np.random.default_rng(key)
    modes = 28
    hz = np.exp(rng.uniform(np.log(70.0), np.log(500.0 + 14.0 * key), modes))
    level = rng.normal(0.0, 1.0, modes) * 10 ** ((-34.0 + 9.0 * hardness + 0.08 * (key - 60)) / 20)
    rate = 60.0 / rng.uniform(0.04, 0.16, modes)
    short = min(n, int(0.2 * rate_hz))
    knock = np.zeros(n)
    times = np.arange(short) / rate_hz
    waves = np.sin(2 * np.pi * np.outer(hz, times)) * np.exp(
        -np.outer(rate * _NEPERS_PER_DB, times)
    )
    knock[:short] = level @ waves
    return knock


def _fade_out(sound: npt.NDArray[np.float64], rate_hz: int) -> npt.NDArray[np.float64]:
    n = min(len(sound), int(1.5 * rate_hz), len(sound) // 3)
    faded = sound.copy()
    if n:
        faded[-n:] *= (1 + np.cos(np.linspace(0, np.pi, n))) / 2
    return faded


def _last_heard(sound: npt.NDArray[np.float64], floor_db: float = -54.0) -> int:
    loud = np.flatnonzero(np.abs(sound) > np.max(np.abs(sound)) * 10 ** (floor_db / 20))
    return int(loud[-1]) + 1 if len(loud) else 1


def _to_steps(
    soft: npt.NDArray[np.float64], bright: npt.NDArray[np.float64]
) -> tuple[Samples, Samples, float, float]:
    scales = [float(max(np.max(np.abs(x)), 1e-12)) / 32767.0 for x in (soft, bright)]
    a, b = (np.round(x / s).astype(np.int16) for x, s in zip((soft, bright), scales, strict=True))
    return a, b, scales[0], scales[1]


def loudness_of(velocity: int) -> float:
    """Amplitude of a velocity, 1 at 127: (m v + b) squared over a range of 60 dB.

    Dannenberg, "The interpretation of MIDI velocity", ICMC 2006; near the middle it gives a
    quarter of a dB a step, as measured on reproducing pianos.
    """
    ratio = 10 ** (60.0 / 20)
    b = 127 / (126 * np.sqrt(ratio)) - 1 / 126
    m = (1 - b) / 127
    return float((m * velocity + b) ** 2)


def hardness_of(velocity: int) -> float:
    """How hard the hammer strikes, 0 to 1, for a velocity."""
    return float(np.clip((velocity - 20) / 90.0, 0.0, 1.0))
