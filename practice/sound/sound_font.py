"""A SoundFont in place of the built-in piano: its keys rendered once, then played like our own.

The synthesiser library (an optional extra) renders two strokes of each key, a soft and a hard one;
dampers, pedals, room and everything else are the built-in piano's. The library is told which file
to take, so it fetches nothing.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from engine.errors import UndersongError
from engine.tone.piano import LONGEST_S, LOUDNESS_S, RATE_HZ, KeySound, Piano
from engine.tone.strings import HIGHEST_KEY, LOWEST_KEY
from practice.sound.sound import keep_piano, unpack_piano

#: Velocities of the two strokes.
SOFT_STROKE, HARD_STROKE = 36, 110
#: Raise it whenever keys are made otherwise, so that old caches are passed over.
EDITION = 1
#: A stroke is over where it has fallen so far below its loudest.
FLOOR_DB = -66.0
_TICKS_A_QUARTER, _S_A_QUARTER = 480, 0.5

Wave = npt.NDArray[np.float64]


def load_sound_font(path: str | Path, cache: Path | None) -> Piano:
    """The piano of a SoundFont's first preset, from the cache folder if it is there.

    Raises:
        UndersongError: no library, no such file, no SoundFont, or nothing sounds in it.
    """
    path = Path(path)
    try:
        known_by = hashlib.sha256(path.read_bytes()).hexdigest()[:16]
    except OSError as error:
        why = error.strerror or "not readable"
        raise UndersongError(f"cannot be read ({why})", str(path), "name a .sf2 file") from error
    kept = cache / f"font-{EDITION}-{known_by}.npz" if cache else None
    try:
        if kept is not None:
            return unpack_piano(kept.read_bytes())
    except (OSError, ValueError, KeyError):
        pass
    piano = _render_font(path)
    if kept is not None:
        keep_piano(kept, piano)
    return piano


def make_key(soft: Wave, hard: Wave) -> KeySound:
    """A key from two strokes, each shape (n,): both made equally loud, the second as what it adds.

    The strokes may be of one recording or of two; between them the piano mixes.
    """
    n = max(len(soft), len(hard))
    one, other = (np.pad(x / _loudness(x), (0, n - len(x))) for x in (soft, hard))
    added = other - one
    head = slice(0, int(LOUDNESS_S * RATE_HZ))
    a, b = one[head], added[head]
    energy = (float(np.mean(a * a)), float(np.mean(a * b)), float(np.mean(b * b)))
    scales = [float(max(np.max(np.abs(x)), 1e-6)) / 32767.0 for x in (one, added)]
    steps = [np.round(x / s).astype(np.int16) for x, s in zip((one, added), scales, strict=True)]
    return KeySound(steps[0], steps[1], scales[0], scales[1], energy)


def _render_font(path: Path) -> Piano:
    library = _load_library(path)
    try:
        font = library.core.Synthesizer(str(path), RATE_HZ, 0)
    except Exception as error:
        why = " ".join(str(error).split())[:80]
        raise UndersongError(f"not a SoundFont ({why})", str(path), "name a .sf2 file") from error
    strokes = {
        key: [_render_stroke(library, font, key, v) for v in (SOFT_STROKE, HARD_STROKE)]
        for key in range(LOWEST_KEY, HIGHEST_KEY + 1)
    }
    if not any(len(stroke) for pair in strokes.values() for stroke in pair):
        raise UndersongError("nothing sounds in it", str(path), "its first preset must be a piano")
    silence = np.zeros(1)
    return Piano(
        RATE_HZ,
        tuple(
            make_key(*(stroke if len(stroke) else silence for stroke in pair))
            for pair in strokes.values()
        ),
    )


def _load_library(path: Path) -> Any:
    try:
        import symusic
    except ImportError as error:
        hint = "pip install 'undersong[soundfont]'"
        raise UndersongError("no synthesiser for SoundFonts", str(path), hint) from error
    return symusic


def _render_stroke(library: Any, font: Any, key: int, velocity: int) -> Wave:
    """One key held, from its first sample to where it has died away; empty where none sounds."""
    score = library.Score(_TICKS_A_QUARTER)
    score.tempos.append(library.Tempo(0, 60.0 / _S_A_QUARTER))
    track = library.Track("", 0, False)
    length = int(LONGEST_S / _S_A_QUARTER * _TICKS_A_QUARTER)
    track.notes.append(library.Note(0, length, key, velocity))
    score.tracks.append(track)
    sound = np.asarray(font.render(score, True), dtype=float).mean(axis=0)
    sound = sound[: int(LONGEST_S * RATE_HZ)]
    top = float(np.max(np.abs(sound), initial=0.0))
    if not np.isfinite(top) or top <= 1e-6:
        return np.zeros(0)
    heard = np.flatnonzero(np.abs(sound) > top * 10 ** (FLOOR_DB / 20))
    sound = sound[heard[0] : heard[-1] + 1]
    fade = min(len(sound), RATE_HZ // 50)
    sound[len(sound) - fade :] *= np.linspace(1.0, 0.0, fade)
    return np.asarray(sound)


def _loudness(sound: Wave) -> float:
    head = sound[: int(LOUDNESS_S * RATE_HZ)]
    return float(max(np.sqrt(np.mean(head * head)), 1e-9))
