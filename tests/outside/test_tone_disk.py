"""What would be heard, from SDL's disk audio driver, which writes it to a file.

The chain is the real one: tempo map, messages, scheduler, mixer, pygame. Only the reading of the
card's clock is set to its nominal rate, for the disk driver keeps no steady time of its own; how
well a drifting card is followed is tested apart, and measured by `tests.bench.bench_sound`.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from engine.tone.piano import RATE_HZ

ROOT = Path(__file__).resolve().parents[2]

PROGRAM = """
import sys, time
from fractions import Fraction
from engine.arrangement import Arrangement, Bar, Span, TempoMark
from engine.tone.piano import RATE_HZ, Piano, render_key
from practice.sound.accompany import Accompanist
from practice.clock import SystemClock
from practice.listen.happenings import PulseBegan
from practice.sound.partner import list_pulse
from practice.sound.sound import BuiltInPiano

four = Fraction(4)
bars = tuple(Bar(b, str(b + 1), b, 1, b * four, four, 4, 4) for b in range(2))
page = Arrangement("two tempi", "", (), bars,
                   (TempoMark(Fraction(0), 240.0), TempoMark(four, 300.0)))
piano = BuiltInPiano(Piano(RATE_HZ, (render_key(60),) * 88), SystemClock(), block=1024)
while not piano.clock.running:
    time.sleep(0.005)
now = time.perf_counter()
begun = now - piano._device._handed / RATE_HZ
piano.clock.sample_at = lambda time_s: (time_s - begun) * RATE_HZ
piano.clock.hear_taken = lambda *_: None
piano.clock.restart = lambda: None
piano.lead_s = 0.3
accompanist = Accompanist(piano, SystemClock())
start = now + 1.0
pulse = PulseBegan((start - 0.5, start - 0.25), start, Span(0, 1), None, 1.0)
accompanist.add(list_pulse(page, pulse, 1))
time.sleep(3.6)
print(piano.gaps)
accompanist.close()
"""


def find_clicks(sound: np.ndarray) -> list[int]:
    """Sample at which each click begins: its first sample is a full one."""
    found, at = [], 0
    loud = np.abs(sound) > 1500
    while loud[at:].any():
        at += int(np.argmax(loud[at:]))
        found.append(at)
        at += RATE_HZ // 10
    return found


def test_clicks_in_the_audio_lie_on_the_tempo_map(tmp_path: Path) -> None:
    """240 then 300 beats a minute, after two counted beats: every interval to a millisecond."""
    raw = tmp_path / "heard.raw"
    env = {
        **os.environ, "SDL_AUDIODRIVER": "disk", "SDL_DISKAUDIOFILE": str(raw),
        "PYTHONPATH": str(ROOT),
    }  # fmt: skip
    ran = subprocess.run(
        [sys.executable, "-c", PROGRAM], env=env, cwd=ROOT, capture_output=True, text=True,
        timeout=60, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    if int(ran.stdout.split()[-1]):
        pytest.skip("the machine was too busy to feed the card without a gap")
    clicks = find_clicks(np.fromfile(raw, "<i2")[::2].astype(float))
    assert len(clicks) == 2 + 8
    expected_s = np.concatenate([[-0.5, -0.25], np.arange(4) * 0.25, 1.0 + np.arange(4) * 0.2])
    heard_s = (np.array(clicks) - clicks[2]) / RATE_HZ
    assert np.max(np.abs(heard_s - expected_s)) < 0.001
