"""Published values, as the papers and counts give them."""

from __future__ import annotations

import pytest

from engine.measure.yardsticks import (
    DB_PER_VELOCITY,
    HAMMER_SPLIT_MS_PER_VELOCITY,
    REPERTOIRE,
    band_for,
    evenness_words,
    least_audible_ms,
)


@pytest.mark.parametrize(
    ("interval_ms", "least_ms"),
    [(100, 6), (125, 6), (200, 6), (240, 6), (300, 7.5), (500, 12.5), (1000, 25)],
)
def test_just_noticeable_displacement(interval_ms, least_ms):
    # Friberg & Sundberg 1995, J Acoust Soc Am 98:2524-31: 6 ms below 240 ms, 2.5 % above.
    assert float(least_audible_ms(interval_ms)) == pytest.approx(least_ms)


def test_the_counted_bands_are_as_counted():
    # 16 consecutive intervals of left-hand figures that repeat exactly, (n)ASAP; percentiles 5, 25,
    # 50, 75, 95 of SD and CV.
    assert [(b.from_ms, b.to_ms, b.n) for b in REPERTOIRE] == [
        (80, 130, 1351), (130, 200, 250), (200, 320, 56),
    ]  # fmt: skip
    assert REPERTOIRE[0].sd_ms == (8.2, 12.5, 16.1, 21.9, 37.9)
    assert REPERTOIRE[1].sd_ms == (9.6, 14.4, 20.6, 31.6, 53.8)
    assert REPERTOIRE[2].sd_ms == (11.6, 19.3, 34.2, 56.9, 97.4)
    assert REPERTOIRE[0].cv == (0.083, 0.124, 0.160, 0.216, 0.359)
    assert REPERTOIRE[1].cv == (0.061, 0.100, 0.140, 0.217, 0.344)
    assert REPERTOIRE[2].cv == (0.054, 0.080, 0.150, 0.243, 0.409)


def test_levels_heard_and_levels_by_velocity():
    # Slade, Gascon, Comeau & Russell 2022: 2.71 to 4.48 steps are 0.68 to 1.22 dB, so that a step
    # is 0.251 to 0.272 dB; Goebl's constants give 6.02 dB for 25 steps, 0.241.
    assert 0.68 / 2.71 <= DB_PER_VELOCITY <= 1.22 / 4.48
    assert pytest.approx(6.02 / 25, abs=0.02) == DB_PER_VELOCITY
    assert 0.0 <= HAMMER_SPLIT_MS_PER_VELOCITY <= 1.2


def test_bands_by_speed():
    assert band_for(150.0).n == 250
    assert band_for(79.9) is None
    assert band_for(320.0) is None
    for band in REPERTOIRE:
        assert list(band.sd_ms) == sorted(band.sd_ms)
        assert list(band.cv) == sorted(band.cv)


@pytest.mark.parametrize(
    ("sd_ms", "words"),
    [(9.0, "very even"), (14.0, "even"), (20.6, "as usual in expressive playing"),
     (40.0, "less even than most"), (60.0, "look for a cause")],
)  # fmt: skip
def test_words_of_the_band(sd_ms, words):
    assert evenness_words(sd_ms, band_for(150.0)) == words
