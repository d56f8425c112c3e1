"""What following costs, by the length of the score and of what was played."""

from __future__ import annotations

import gc
import time
import tracemalloc
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from engine.arrangement import Arrangement, Bar, ScoreNote, TempoMark
from engine.follow import Follower, align
from practice.player import CHARACTERS
from tests.bench.takes import Take, plant_slips, simulated_take

LETTERS = ("C", "D", "E", "F", "G", "A", "B")
SEMITONES = (0, 2, 4, 5, 7, 9, 11)


@dataclass(frozen=True, slots=True)
class Cost:
    """Of one run: notes, microseconds a finding by quantile, by the part of the take it was in."""

    notes: int
    median_us: float
    p99_us: float
    p999_us: float
    most_us: float
    first_half_us: float
    last_half_us: float
    whole_s: float
    build_s: float
    memory_mb: float


def long_arrangement(count: int, seed: int = 1) -> Arrangement:
    """A score of about `count` notes: a steady figure under a melody in octaves, a new harmony
    every bar out of a few, so that passages are alike as they are in life."""
    rng = np.random.default_rng(seed)
    roots = rng.integers(0, 7, size=count // 12 + 1)
    notes: list[tuple[Fraction, int, bool]] = []
    bar = 0
    while len(notes) < count:
        root = int(roots[bar])
        for k in range(8):
            degree = root + (0, 4, 7, 9, 11, 9, 7, 4)[k]
            notes.append((Fraction(bar * 4) + Fraction(k, 2), _key(degree, 2), False))
        for k in range(2):
            degree = int(rng.integers(0, 10))
            onset = Fraction(bar * 4 + 2 * k)
            notes.extend((onset, _key(degree, octave), True) for octave in (4, 5))
        bar += 1
    rows = sorted(set(notes))
    return Arrangement(
        f"{len(rows)} notes", "0" * 64,
        tuple(_score_note(i, *row) for i, row in enumerate(rows)),
        tuple(Bar(b, str(b + 1), b, 1, Fraction(4 * b), Fraction(4), 4, 4) for b in range(bar)),
        (TempoMark(Fraction(0), 100.0),),
    )  # fmt: skip


def _key(degree: int, octave: int) -> int:
    return 12 * (octave + 1 + degree // 7) + SEMITONES[degree % 7]


def _score_note(i: int, onset: Fraction, pitch: int, right: bool) -> ScoreNote:
    step = LETTERS[SEMITONES.index(pitch % 12)]
    duration = Fraction(2) if right else Fraction(1, 2)
    return ScoreNote(
        f"n{i + 1}", 1, onset, duration, pitch, step, 0, pitch // 12 - 1,
        "right" if right else "left", 1 if right else 2, "1", int(onset // 4), unison=i,
    )  # fmt: skip


def long_take(arrangement: Arrangement, seed: int = 2) -> Take:
    """It, played by hand: 2 % slips, a halt or a jump now and then."""
    rng = np.random.default_rng(seed)
    player = replace(
        CHARACTERS["demo"], slips=CHARACTERS["steady"].slips, restarts=0.0005, hesitations=0.001
    )
    take = simulated_take(arrangement.title, arrangement, player, rng)
    return plant_slips(take, rng, wrong=0.01, extra=0.005, left_out=0.005)


def measure_cost(arrangement: Arrangement, take: Take) -> Cost:
    """Follow a take note by note, and align it whole, with the thread's own clock running (so that
    other work on the machine does not count)."""
    tracemalloc.start()
    started = time.perf_counter()
    follower = Follower(arrangement)
    build_s = time.perf_counter() - started
    for note in take.notes[: min(len(take.notes), 4000)]:
        follower.hear(note)
    memory_mb = tracemalloc.get_traced_memory()[0] / 1e6
    tracemalloc.stop()
    follower = Follower(arrangement)
    took = np.zeros(len(take.notes))
    gc.collect()
    gc.disable()
    for i, note in enumerate(take.notes):
        started = time.thread_time()
        follower.hear(note)
        took[i] = time.thread_time() - started
    gc.enable()
    started = time.thread_time()
    align(arrangement, take.notes)
    whole_s = time.thread_time() - started
    took *= 1e6
    half = len(took) // 2
    return Cost(
        len(took),
        *(float(np.quantile(took, p)) for p in (0.5, 0.99, 0.999, 1.0)),
        float(np.median(took[:half])),
        float(np.median(took[half:])),
        whole_s,
        build_s,
        memory_mb,
    )
