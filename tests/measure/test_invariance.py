"""What must not change when the playing is moved, stretched or transposed, and what must."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.arrangement import whole_span
from engine.findings import Estimate, Finding
from engine.measure import deviations_ms, measure
from engine.performance import PedalMove, Pulse
from tests.measure.by_hand import measured, page, play
from tests.measure.known_playing import Known, Played, play_known

SMALL = Known(bars=12)
FEW = settings(max_examples=8, deadline=None, derandomize=True)


def all_of(played: Played):
    return measure(
        played.arrangement, played.notes, played.pedals, played.findings,
        span=whole_span(played.arrangement), hands="both", pulse=played.pulse,
    )  # fmt: skip


def stretched(played: Played, factor: float, shift_s: float = 0.0) -> Played:
    """All times multiplied and moved."""
    return replace(
        played,
        notes=tuple(
            replace(
                n, onset_s=n.onset_s * factor + shift_s, release_s=n.release_s * factor + shift_s
            )
            for n in played.notes
        ),
        pedals=tuple(
            PedalMove(m.time_s * factor + shift_s, m.controller, m.value) for m in played.pedals
        ),
    )


def same(a, b, rel: float = 1e-6, abs_: float = 1e-6) -> bool:
    """All numbers of two results alike, reasons included."""
    if isinstance(a, float):
        return b == pytest.approx(a, rel=rel, abs=abs_, nan_ok=True)
    if isinstance(a, tuple):
        return len(a) == len(b) and all(same(x, y, rel, abs_) for x, y in zip(a, b, strict=True))
    if hasattr(a, "__dataclass_fields__"):
        return all(same(getattr(a, f), getattr(b, f), rel, abs_) for f in a.__dataclass_fields__)
    return a == b


@FEW
@given(shift_s=st.floats(0.0, 5000.0), seed=st.integers(0, 99))
def test_a_shift_in_time_changes_nothing(shift_s, seed):
    played = play_known(SMALL, seed)
    assert same(all_of(played), all_of(stretched(played, 1.0, shift_s)), rel=1e-5, abs_=1e-4)


@FEW
@given(factor=st.floats(0.5, 2.0), seed=st.integers(0, 99))
def test_tempo_leaves_relative_evenness(factor, seed):
    played = play_known(SMALL, seed)
    a, b = all_of(played).evenness, all_of(stretched(played, factor)).evenness
    for name in ("cv", "sd_percent", "place_share", "drift_share", "rest_share", "overlap_share"):
        assert same(getattr(a, name), getattr(b, name), rel=1e-4, abs_=1e-5), name
    assert b.sd_ms.value == pytest.approx(a.sd_ms.value * factor, rel=1e-5)
    assert b.timekeeper_sd_ms.reason or b.timekeeper_sd_ms.value == pytest.approx(
        a.timekeeper_sd_ms.value * factor, rel=1e-4
    )


@pytest.mark.parametrize("semitones", [-5, 7])
def test_transposing_changes_nothing_but_what_rings(semitones):
    played = play_known(SMALL, 3)
    arrangement = replace(
        played.arrangement,
        notes=tuple(replace(n, pitch=n.pitch + semitones) for n in played.arrangement.notes),
    )
    moved = replace(
        played,
        arrangement=arrangement,
        notes=tuple(replace(n, pitch=n.pitch + semitones) for n in played.notes),
    )
    a, b = all_of(played), all_of(moved)
    for name in ("notes", "timing", "evenness", "octaves", "lead", "balance", "form"):
        assert same(getattr(a, name), getattr(b, name)), name
    assert a.pedal.lift_ms == b.pedal.lift_ms
    assert a.pedal.changes[0].old_under_new_db != b.pedal.changes[0].old_under_new_db


def test_more_scatter_never_looks_more_even():
    # The same draws, only larger: over every seed.
    for seed in range(12):
        sds = [
            all_of(play_known(replace(SMALL, jitter=j), seed)).evenness
            for j in (2.0, 5.0, 9.0, 15.0)
        ]
        for name in ("sd_ms", "rest_sd_ms", "cv", "rest_share"):
            values = [getattr(e, name).value for e in sds]
            assert values == sorted(values), (seed, name)


def test_a_perfect_performance_has_ideal_measures():
    perfect = Known(
        bars=12, habit=(0.0,) * 8, jitter=0.0, split=0.0, slope=0.0, together_sd=0.0, lead=0.0,
        lead_sd=0.0, lift=(0.0, 0.0), catch=(150.0, 0.0),
    )  # fmt: skip
    found = all_of(play_known(perfect, 0))
    assert found.notes.right_share.value == 1.0
    assert found.evenness.sd_ms.value == pytest.approx(0.0, abs=1e-6)
    assert found.octaves.median_abs_split_ms.value == pytest.approx(0.0, abs=1e-6)
    assert found.timing.hesitations == ()
    assert {c.kind for c in found.pedal.changes} == {"clean"}
    assert found.pedal.leaks == ()
    assert found.form.complete


def test_one_added_note_gives_one_extra_and_one_removed_one_missing():
    played = play_known(SMALL, 1)
    before = all_of(played).notes.count
    added = replace(
        played,
        notes=(*played.notes, replace(played.notes[5], index=len(played.notes), pitch=100)),
        findings=(*played.findings, Finding(len(played.notes), None, "extra")),
    )
    removed = replace(
        played,
        findings=(*(f for f in played.findings if f.played != 7),
                  Finding(None, played.findings[7].score, "missing")),
    )  # fmt: skip
    assert all_of(added).notes.count.extra == before.extra + 1
    assert all_of(removed).notes.count.missing == before.missing + 1


def test_the_same_take_gives_the_same_figures():
    played = play_known(SMALL, 5)
    assert all_of(played) == all_of(played)


@FEW
@given(data=st.data())
def test_any_playing_gives_numbers_or_reasons(data):
    """Findings at random, notes left out, wrong, twice, out of order: never an error."""
    arrangement = page([(i / 2, 0.5, 40 + i % 30, ("left", "right")[i % 2]) for i in range(40)])
    notes, _ = play(arrangement)
    draw = np.random.default_rng(data.draw(st.integers(0, 10**6)))
    kept = sorted(draw.choice(40, size=draw.integers(0, 40), replace=False).tolist())
    notes = tuple(
        replace(notes[i], onset_s=float(draw.uniform(0, 20)), release_s=float("nan")) for i in kept
    )
    kinds = ("right", "wrong", "extra", "ornament", "unclear")
    findings = [
        _finding(n.index, str(draw.choice(kinds)), int(draw.integers(0, 40))) for n in notes
    ]
    pedals = [
        PedalMove(float(draw.uniform(0, 20)), 64, int(draw.integers(0, 128))) for _ in range(9)
    ]
    found = measured(arrangement, notes, findings, pedals)
    assert deviations_ms(arrangement, notes, findings, Pulse()).shape == (len(notes),)
    _check_reasons(found)


def _finding(played: int, what: str, score: int) -> Finding:
    if what == "right":
        return Finding(played, score, "right")
    return Finding(played, None, what, stands_for=score if what == "wrong" else None)  # type: ignore[arg-type]


def _check_reasons(thing) -> None:
    if isinstance(thing, Estimate):
        assert (thing.value is None) == bool(thing.reason), thing
        if thing.value is not None:
            assert np.isfinite([thing.value, thing.low, thing.high]).all(), thing
            assert thing.low - 1e-9 <= thing.value <= thing.high + 1e-9, thing
    elif hasattr(thing, "__dataclass_fields__"):
        for name in thing.__dataclass_fields__:
            _check_reasons(getattr(thing, name))
    elif isinstance(thing, tuple):
        for part in thing:
            _check_reasons(part)
