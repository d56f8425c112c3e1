"""Where the parts stand, from the smallest window to the largest."""

from __future__ import annotations

import itertools

import pytest

from practice.window.form_map import short_date
from practice.window.parts import Parts, arrange_parts

SIZES = [(1280, 800), (1366, 768), (1600, 900), (1920, 1080), (2560, 1440), (3840, 2160)]
SCALES = [0.75, 1.0, 1.5, 2.0]


def boxes(parts: Parts) -> list:
    sides = [] if parts.stacked else [parts.wheel, parts.account]
    return [parts.heading, parts.desk, parts.map, *sides]


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("scale", SCALES)
def test_parts_fill_the_window_and_never_overlap(size: tuple[int, int], scale: float):
    parts = arrange_parts(size, scale)
    for box in boxes(parts):
        assert parts.whole.holds(box)
    for one, other in itertools.combinations(boxes(parts), 2):
        assert not one.meets(other)
    assert sum(b.w * b.h for b in boxes(parts)) == pytest.approx(size[0] * size[1])


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("scale", SCALES)
def test_text_is_never_smaller_than_fourteen_pixels_at_scale_one(size, scale):
    assert min(arrange_parts(size, scale).type.__getattribute__(n) for n in ("small", "body")) >= (
        14 * scale
    )


def test_a_staff_is_nine_millimetres_on_a_24_inch_screen():
    # 24 inches across 1920 by 1080 is 91.8 pixels an inch (Pythagoras)
    pixels_per_mm = (1920**2 + 1080**2) ** 0.5 / 24 / 25.4
    assert 4 * arrange_parts((1920, 1080)).space_px / pixels_per_mm >= 9.0


def test_a_screen_of_four_times_the_pixels_shows_the_same():
    small, large = arrange_parts((1920, 1080)), arrange_parts((3840, 2160))
    assert large.space_px >= 2 * small.space_px - 1
    assert large.desk.w / small.desk.w == pytest.approx(2.0, abs=0.02)


def test_a_cold_pass_of_another_year_is_dated_by_its_year():
    assert short_date("2031-03-01", "2031-11-25") == "1 Mar"
    assert short_date("2030-12-24", "2031-01-02") == "Dec 2030"
    assert short_date("2031-03-01T18:20:00+01:00") == "1 Mar"


def test_a_large_scale_in_a_small_window_gives_the_desk_all_the_width():
    parts = arrange_parts((1280, 800), 2.0)
    assert parts.stacked
    assert parts.desk.w == 1280
