"""The strings of one key: where their partials lie, how strong they start, how fast they die.

The model, and where each number comes from:

- A stiff string's n-th partial lies at n f0 sqrt(1 + B n^2). For plain strings B is such that the
  second mode of middle C is 1.2 cents sharp of harmonic, and doubles every eight semitones above
  it (R. W. Young, JASA 24:267, 1952, abstract). Wound bass strings add a term that rises towards
  the bottom (after Rigaud, David & Daudet, JASA 133:3107, 2013; its numbers from memory).
- Standard pitch: the first partial of A4 is 440 Hz (ISO 16). From there octaves are tuned until
  a partial of the lower note meets one of the upper: the 6:3 pair at the bottom, the 2:1 pair at
  the top (common practice of tuners); the stretch between is spread evenly.
- The hammer strikes at an eighth of the string, and its push is half a sine long: partials
  above one over twice the contact time fall at 12 dB an octave. Contact lasts about 4 ms in the
  bass and well under 1 ms at the top, and less when struck harder (Askenfelt, from memory).
- Each partial dies in two stages: the prompt sound, and an aftersound that starts 23 dB lower and
  lasts longer (Weinreich, JASA 62:1474, 1977). Rates by register keep the time to -60 dB within
  the ranges of Fletcher & Rossing, ch. 12 (from memory); they do not depend on how hard the key
  was struck (Cheng, Dixon & Mauch, ICASSP 2015).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

LOWEST_KEY, HIGHEST_KEY = 21, 108
STANDARD_KEY, STANDARD_HZ = 69, 440.0
#: Keys above this have no dampers (common practice: the top octave and a half).
HIGHEST_DAMPED_KEY = 89

MIDDLE_C_SECOND_MODE_CENTS = 1.2
SEMITONES_PER_DOUBLING = 8.0
#: Cents that one unit of B n^2 is worth while it is small.
CENTS_PER_B = 600.0 / np.log(2.0)
BASS_SLOPE, BASS_LEVEL = -0.0847, -5.82

STRIKE_POINT = 1.0 / 8.2
AFTERSOUND_DB = -23.0
AFTERSOUND_SHARE_OF_RATE = 0.37
#: The aftersound is this much off the prompt sound's pitch, so that a held note is alive.
AFTERSOUND_HZ = 0.11
HIGHEST_PARTIAL_HZ = 15_000.0
MOST_PARTIALS = 60

#: (key, dB a second of the first partial's prompt sound); straight lines in the logarithm between.
PROMPT_DB_PER_S = ((21, 4.5), (36, 6.0), (60, 9.0), (84, 27.0), (96, 70.0), (108, 160.0))
#: (key, seconds the hammer stays on the string at a middling stroke).
CONTACT_S = ((21, 4.0e-3), (60, 2.0e-3), (108, 0.6e-3))
#: The same for the softest and the hardest stroke, as shares of the middling one.
SOFT_CONTACT, HARD_CONTACT = 1.6, 0.6


@dataclass(frozen=True, slots=True)
class Partials:
    """The partials of one key, struck so hard; arrays of shape (partials,).

    Attributes:
        hz: frequency. level: starting amplitude of the prompt sound, the first partial's being 1.
        prompt_db_s, after_db_s: decay rates of the two stages, dB a second.
    """

    hz: Floats
    level: Floats
    prompt_db_s: Floats
    after_db_s: Floats


def find_inharmonicity(key: npt.ArrayLike) -> Floats:
    """B of a key's strings, any shape; no unit."""
    key = np.asarray(key, dtype=float)
    middle_c = MIDDLE_C_SECOND_MODE_CENTS / (CENTS_PER_B * 4)
    plain = middle_c * 2.0 ** ((key - 60) / SEMITONES_PER_DOUBLING)
    return np.asarray(plain + np.exp(BASS_SLOPE * key + BASS_LEVEL))


def find_stretch_cents(key: npt.ArrayLike) -> Floats:
    """How far the first partial of a key lies above equal temperament (A4: 0), in cents."""
    grid = np.arange(LOWEST_KEY - 12.0, HIGHEST_KEY + 13.0)
    per_semitone = _octave_stretch_cents(np.asarray(grid - 6.0)) / 12.0
    steps = (per_semitone[1:] + per_semitone[:-1]) / 2
    total = np.concatenate([[0.0], np.cumsum(steps)])
    total -= total[np.searchsorted(grid, STANDARD_KEY)]
    return np.asarray(np.interp(np.asarray(key, dtype=float), grid, total))


def _octave_stretch_cents(lower: Floats) -> Floats:
    """What an octave on `lower` is wider than 1200 cents, first partial to first partial."""
    rank = 1.0 + 2.0 / (1.0 + np.exp((lower - 52.0) / 8.0))  # partial of the upper note that is met
    b_lower, b_upper = find_inharmonicity(lower), find_inharmonicity(lower + 12)
    meeting = np.log2((1 + b_lower * (2 * rank) ** 2) / (1 + b_upper * rank**2)) * 600
    firsts = np.log2((1 + b_upper) / (1 + b_lower)) * 600
    return np.asarray(meeting + firsts)


def find_pitch_hz(key: npt.ArrayLike) -> Floats:
    """Frequency of a key's first partial, Hz, any shape."""
    key = np.asarray(key, dtype=float)
    tempered = STANDARD_HZ * 2.0 ** ((key - STANDARD_KEY) / 12.0)
    return np.asarray(tempered * 2.0 ** (find_stretch_cents(key) / 1200.0))


def find_partials(key: int, hardness: float) -> Partials:
    """The partials of a key.

    Args:
        key: MIDI number, 21 to 108.
        hardness: 0 for the softest stroke, 1 for the hardest; it colours the sound.
    """
    b = float(find_inharmonicity(key))
    ranks = np.arange(1, MOST_PARTIALS + 1, dtype=float)
    first = float(find_pitch_hz(key))
    hz = first * ranks * np.sqrt((1 + b * ranks**2) / (1 + b))
    keep = hz < HIGHEST_PARTIAL_HZ
    ranks, hz = ranks[keep], hz[keep]
    level = _strike(ranks) * _push(hz, find_contact_s(key, hardness)) * _radiate(hz)
    prompt = find_prompt_db_s(key) * (1 + 0.1 * (ranks - 1)) + 1.0e-6 * (hz**2 - first**2)
    return Partials(hz, level / level[0], prompt, prompt * AFTERSOUND_SHARE_OF_RATE)


def find_contact_s(key: int, hardness: float) -> float:
    """How long the hammer touches the string, seconds."""
    middling = _on_log_line(CONTACT_S, key)
    return middling * float(SOFT_CONTACT * (HARD_CONTACT / SOFT_CONTACT) ** hardness)


def find_prompt_db_s(key: int) -> float:
    """Decay of the first partial's prompt sound, dB a second."""
    return _on_log_line(PROMPT_DB_PER_S, key)


def find_ring_s(key: int, fall_db: float = 60.0) -> float:
    """Seconds until the first partial of a held key has fallen by `fall_db`."""
    prompt = find_prompt_db_s(key)
    times = np.linspace(0.0, 60.0, 6001)
    after = 10 ** ((AFTERSOUND_DB - prompt * AFTERSOUND_SHARE_OF_RATE * times) / 20)
    level = 10 ** (-prompt * times / 20) + after
    return float(times[np.argmax(level < level[0] * 10 ** (-fall_db / 20))])


def find_damper_db_s(key: int) -> float:
    """How fast a fully laid damper stills a key, dB a second; 0 where there is none.

    A damped note takes about 0.1 to 0.3 s to die in the middle, longer in the bass (from memory).
    """
    if key > HIGHEST_DAMPED_KEY:
        return 0.0
    return 60.0 / float(np.interp(key, [21, 60, 89], [0.45, 0.22, 0.14]))


def _strike(ranks: Floats) -> Floats:
    """Strength of each mode when the string is struck at one point of its length."""
    return np.asarray(np.abs(np.sin(np.pi * ranks * STRIKE_POINT)) + 0.02)


def _push(hz: Floats, contact_s: float) -> Floats:
    """The envelope of the spectrum of a half-sine push (its zeros smoothed over)."""
    return np.asarray(1.0 / (1.0 + (2.0 * hz * contact_s) ** 2))


def _radiate(hz: Floats) -> Floats:
    """The soundboard: weak below about 90 Hz, and gently weaker above 5 kHz."""
    low = (hz / 90.0) ** 2 / (1.0 + (hz / 90.0) ** 2)
    return np.asarray(low / np.sqrt(1.0 + (hz / 5_000.0) ** 2))


def _on_log_line(points: tuple[tuple[int, float], ...], key: int) -> float:
    keys, values = zip(*points, strict=True)
    return float(np.exp(np.interp(key, keys, np.log(values))))
