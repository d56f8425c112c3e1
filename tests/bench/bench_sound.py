"""The built-in sound measured: `python -m tests.bench.bench_sound [--minutes 10] [--picture FILE]`.

- rendering: seconds for the whole piano; milliseconds a block by strokes sounding.
- the card: SDL's disk driver plays clicks and writes what would be heard to a file. Each click's
  sample is compared with the moment it was meant for, read in hindsight from all sightings of the
  card's clock around it. That driver paces itself by the system's sleep, so its clock wanders by
  far more than a crystal's, and the more the busier the machine (`chrt -r 5` in front keeps it
  steady); the figures are an upper bound. Also: gaps, drift, hand-over lateness. After a gap the
  file is longer than what was handed over: each stretch between gaps has a zero of its own.
  Where there are JACK and PulseAudio the same is played to a card with a steady clock
  (`steady_card.py`), and each click compared with the straight line through all of them.
- the keys: pitch against equal temperament at 440 Hz (ISO 16), sharpness of the second mode, and
  how fast the sound falls at first and later, all read off rendered notes.
- the picture: spectra of six notes with the partials the model claims.
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from engine.tone.click import ACCENT
from engine.tone.piano import RATE_HZ, Piano, render_piano
from engine.tone.strings import find_partials, find_pitch_hz
from engine.tone.voices import Voices
from practice.clock import SystemClock
from practice.sound.accompany import Accompanist
from practice.sound.sound import BLOCK, BuiltInPiano
from tests.bench.steady_card import RATE_HZ as CARD_HZ
from tests.bench.steady_card import steady_card, why_not
from tests.outside.test_tone_spectra import cents, envelope_db, find_peak_hz

CLICK_EVERY_S = 0.5
#: A stream through a sound server keeps no steady delay at first.
SETTLE_S = 15.0
#: Sightings this near a click tell where the card's clock stood.
NEAR_S = 4.0


def measure_rendering() -> Piano:
    """Time the piano and the mixer."""
    start = time.perf_counter()
    piano = render_piano()
    print(f"piano rendered in {time.perf_counter() - start:.1f} s")
    for strokes in (1, 16, 64, 96):
        voices = Voices(piano)
        voices.play(b"\xb0\x40\x7f")
        for k in range(strokes):
            voices.play(bytes([0x90, 21 + k % 88, 80]))
        took = []
        for _ in range(60):
            start = time.perf_counter()
            voices.render(BLOCK)
            took.append(time.perf_counter() - start)
        ms = np.array(took) * 1000
        print(
            f"  {strokes:3} strokes: {np.median(ms):5.2f} ms a block, 99 % under "
            f"{np.percentile(ms, 99):5.2f}, of {BLOCK / RATE_HZ * 1000:.1f}"
        )
    return piano


def measure_keys(piano: Piano) -> None:
    """Pitch, stretch, inharmonicity and decay of rendered notes."""
    print(
        "  key    first partial   from 440 tempered   second mode   falls in half a second, "
        "in the third half"
    )
    for key in (21, 33, 45, 57, 60, 69, 81, 90):
        voices = Voices(piano, room=0.0)
        voices.play(bytes([0x90, key, 90]))
        sound = voices.render(2 * RATE_HZ).sum(axis=1).astype(float)
        tempered = 440.0 * 2 ** ((key - 69) / 12)
        model = float(find_pitch_hz(key))
        first = find_peak_hz(sound, model, min(0.03 * model + 2, 40))
        second = find_peak_hz(sound, 2 * first * 1.001, min(0.03 * model + 2, 40))
        db = envelope_db(sound)
        print(
            f"  {key:3}  {first:10.3f} Hz  {cents(first, tempered):+12.2f} cents"
            f"  {cents(second, 2 * first) / 0.75:+10.2f} cents"
            f"  {db[2] - db[12]:7.1f} dB, {db[20] - db[30]:5.1f} dB"
        )


class Sightings:
    """All sightings of the card's clock, for hindsight."""

    def __init__(self, instrument: BuiltInPiano) -> None:
        self.seen: list[tuple[float, int]] = []
        self.gaps_s: list[float] = []
        self._clock = instrument.clock
        self._pass_on, self._begin_anew = self._clock.hear_taken, self._clock.restart
        self._clock.hear_taken = self._note  # type: ignore[method-assign]
        self._clock.restart = self._note_gap  # type: ignore[method-assign]

    def _note(self, now_s: float, sample: int) -> None:
        self.seen.append((now_s, sample))
        self._pass_on(now_s, sample)

    def _note_gap(self) -> None:
        if self.seen:
            self.gaps_s.append(self.seen[-1][0])
        self._begin_anew()

    def stretch(self, times_s: np.ndarray) -> np.ndarray:
        """Of moments, how many gaps came before."""
        return np.searchsorted(self.gaps_s, times_s)

    def sample_at(self, time_s: float) -> float:
        """Where the card stood, from the lower edge of what was seen around that moment."""
        here = self.stretch(np.array([time_s]))[0]
        near = np.array(
            [(t, n) for t, n in self.seen
             if abs(t - time_s) < NEAR_S and np.searchsorted(self.gaps_s, t) == here]
        )  # fmt: skip
        slope, _ = np.polyfit(near[:, 0] - time_s, near[:, 1], 1)
        ahead = near[:, 1] - slope * (near[:, 0] - time_s)
        return float(np.percentile(ahead, 98))


@dataclass(frozen=True)
class Played:
    """Clicks handed to a card: the moments meant, how late handed over (s), and how it went."""

    times_s: np.ndarray
    late_s: list[float]
    sightings: Sightings
    gaps: int
    drift_ppm: float

    def tell(self, found: np.ndarray) -> bool:
        """Print how it went; whether all clicks were found."""
        late_ms = np.array(self.late_s) * 1000
        print(
            f"  {len(found)} of {len(self.times_s)} clicks heard, {self.gaps} gaps, drift "
            f"{self.drift_ppm:.0f} ppm; handed over late by {np.median(late_ms):.2f} ms, "
            f"99 %: {np.percentile(late_ms, 99):.2f}"
        )
        if len(found) != len(self.times_s):
            print("  with clicks lost, places cannot be compared")
        return len(found) == len(self.times_s)


def play_clicks(piano: Piano, minutes: float, block: int, settle_s: float) -> Played:
    """Play them to the card that SDL is told of."""
    clock = SystemClock()
    instrument = BuiltInPiano(piano, clock, block=block)
    sightings, accompanist = Sightings(instrument), Accompanist(instrument, clock)
    time.sleep(settle_s)
    times = clock.now_s() + 0.5 + np.arange(0.0, minutes * 60, CLICK_EVERY_S)
    accompanist.add([(float(t), bytes([0x99, ACCENT, 127])) for t in times])
    late: list[float] = []
    while clock.now_s() < times[-1] + 0.5:
        time.sleep(min(20.0, max(times[-1] + 0.6 - clock.now_s(), 0.05)))
        late += accompanist.lateness_s
    gaps, drift = instrument.gaps, instrument.clock.drift_ppm
    accompanist.close()
    return Played(times, late, sightings, gaps, drift)


def measure_disk(piano: Piano, minutes: float, block: int) -> None:
    """Play clicks to SDL's disk driver and find them in the file."""
    file = Path(tempfile.mkdtemp()) / "heard.raw"
    os.environ.update(SDL_AUDIODRIVER="disk", SDL_DISKAUDIOFILE=str(file))
    print("SDL's disk driver:")
    played = play_clicks(piano, minutes, block, 4.0)
    found = find_clicks(np.fromfile(file, "<i2")[::2])
    file.unlink()
    if played.tell(found):
        meant = np.array([played.sightings.sample_at(float(t)) for t in played.times_s])
        off_ms = (found - meant) / RATE_HZ * 1000
        stretch = played.sightings.stretch(played.times_s)
        for one in np.unique(stretch):
            off_ms[stretch == one] -= np.median(off_ms[stretch == one])
        tell_distance(off_ms)


def measure_steady(piano: Piano, minutes: float, block: int) -> None:
    """Play clicks to a card with a steady clock; its rate and delay are a straight line."""
    print("a steady card:")
    if missing := why_not():
        print(f"  missing: {missing}")
        return
    with steady_card(minutes * 60 + SETTLE_S + 5.0) as listen_back:
        played = play_clicks(piano, minutes, block, SETTLE_S)
        found = find_clicks(listen_back())
    if played.tell(found):
        # after a gap the delay is another: a line of one slope, beginning anew
        _, stretch = np.unique(played.sightings.stretch(played.times_s), return_inverse=True)
        line = np.column_stack([played.times_s, np.eye(int(stretch.max()) + 1)[stretch]])
        off_s = found / CARD_HZ - played.times_s
        found_line = np.linalg.lstsq(line, off_s, rcond=None)[0]
        print(f"  the card's rate is {found_line[0] * 1e6:+.1f} ppm off the stamping clock's")
        tell_distance((off_s - line @ found_line) * 1000)


def tell_distance(off_ms: np.ndarray) -> None:
    """How far clicks were from where they were judged."""
    far_ms = np.abs(off_ms)
    print(
        f"  heard against judged: median {np.median(far_ms):.2f} ms, "
        f"99 % {np.percentile(far_ms, 99):.2f}, worst {np.max(far_ms):.2f}; "
        f"last minute {np.median(far_ms[-120:]):.2f}, worst {np.max(far_ms[-120:]):.2f}"
    )


def find_clicks(sound: np.ndarray) -> np.ndarray:
    """Sample at which each click begins."""
    loud = np.flatnonzero(np.abs(sound.astype(np.int32)) > 3000)
    apart = np.concatenate([[True], np.diff(loud) > RATE_HZ // 10])
    return loud[apart]


def draw_spectra(piano: Piano, path: str) -> None:
    """Six notes, half a second after the stroke, and where the model puts the partials."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(3, 2, figsize=(11, 9), constrained_layout=True)
    for key, axis in zip((28, 40, 52, 60, 72, 84), axes.flat, strict=True):
        voices = Voices(piano, room=0.0)
        voices.play(bytes([0x90, key, 90]))
        sound = voices.render(RATE_HZ)[:, 0].astype(float)
        window = sound[2000 : 2000 + 32768] * np.hanning(32768)
        level = 20 * np.log10(np.abs(np.fft.rfft(window)) + 1e-9)
        hz = np.fft.rfftfreq(32768, 1 / RATE_HZ)
        top = find_partials(key, 0.7).hz[:16]
        axis.plot(hz, level - level.max(), linewidth=0.8)
        axis.vlines(top, -90, -84, linewidth=1.0)
        axis.set(
            xlim=(0, top[-1] * 1.05), ylim=(-90, 3), title=f"MIDI {key}: marks are the model's"
        )
        axis.set(xlabel="Hz", ylabel="dB")
    figure.savefig(path, dpi=110)
    print(f"picture: {path}")


def run(argv: list[str]) -> int:
    """All measurements asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=0.5)
    parser.add_argument("--block", type=int, default=BLOCK, help="frames handed over at a time")
    parser.add_argument("--picture")
    options = parser.parse_args(argv)
    sys.setswitchinterval(0.0005)
    piano = measure_rendering()
    gc.collect()
    gc.freeze()  # as a sitting does: a full collection would hold up the card for long
    measure_keys(piano)
    if options.picture:
        draw_spectra(piano, options.picture)
    measure_steady(piano, options.minutes, options.block)
    measure_disk(piano, options.minutes, options.block)
    return 0


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
