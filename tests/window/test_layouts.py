"""The parts' layouts, on the list of operations: sizes, edges, overlaps, in many states."""

from __future__ import annotations

import itertools
from dataclasses import replace
from functools import cache

import pytest

from practice.window.compose import compose, compose_layers, parts_for
from practice.window.desk import find_places, hidden_from
from practice.window.desk_marks import head_boxes
from practice.window.faces import load_font, runs
from practice.window.ops import Box, Fill, Layer, Line, Picture, Shape, Words
from practice.window.theme import DARK, LIGHT
from practice.window.view import Preferences, View
from tests.pictures import SHOTS

STATES = [
    "first-start", "first-start-no-keyboard", "no-keyboard", "waiting", "count-in",
    "strict-pass", "free-pass", "after-pass", "average", "one-hand", "second-time", "unplugged",
    "settings", "help", "performance", "fingering", "changed-bars", "no-page-yet",
    "brine-pump", "two-sluices", "from-memory", "drill", "progress", "rescue-points", "real-change",
    "drills", "drills-not-here", "drill-numbers", "drill-name-taken",
]  # fmt: skip
#: Every state in the smallest window and the usual one, some in the largest.
CASES = [(state, size) for state in STATES for size in ((1280, 800), (1920, 1080))] + [
    (state, (3840, 2160)) for state in ("after-pass", "help", "two-sluices")
]
#: Dense pages in the smallest window; their scores are data that may be missing.
CASES += [(state, (1280, 800)) for state in ("long-piece-tiny", "octave-signs", "evaporation-tiny")]
SLIPS_SHOWN = ("after-pass", "average", "one-hand", "octave-signs", "evaporation-tiny")
#: Two texts may share so many pixels of their boxes, which are taller than most letters.
SLACK_PX = 2.0


@cache
def view_of(state: str, size: tuple[int, int], scale: float = 1.0) -> View:
    view = SHOTS[state].make(size)
    if view is None:
        pytest.skip("the score is not on this machine")
    return replace(view, preferences=replace(view.preferences, scale=scale))


@cache
def layers_of(state: str, size: tuple[int, int]) -> list[Layer]:
    return compose_layers(view_of(state, size), LIGHT, size)


def texts(layer: Layer) -> list[Words]:
    return [op for op in layer.ops if isinstance(op, Words) and op.face != "music"]


@pytest.mark.parametrize(("state", "size"), CASES, ids=str)
def test_text_is_never_under_fourteen_pixels(state, size):
    for layer in layers_of(state, size):
        assert all(text.size >= 14 for text in texts(layer))


@pytest.mark.parametrize(("state", "size"), CASES, ids=str)
def test_nothing_stands_outside_its_part(state, size):
    for layer in layers_of(state, size):
        for op in layer.ops:
            assert layer.box.holds(op.box, slack=2.5), (layer.part, op)


@pytest.mark.parametrize(("state", "size"), CASES, ids=str)
def test_no_text_lies_over_another(state, size):
    layers = layers_of(state, size)
    on_top = [layer for layer in layers if layer.part == "overlay"] or layers
    seen = [text for layer in on_top for text in texts(layer) if text.text]
    for one, other in itertools.combinations(seen, 2):
        inner = one.box.inset(SLACK_PX)
        assert not inner.meets(other.box.inset(SLACK_PX)), (one.text, other.text)


@pytest.mark.parametrize(("state", "size"), CASES, ids=str)
def test_every_letter_and_sign_is_in_its_font(state, size):
    for layer in layers_of(state, size):
        for text in texts(layer):
            for part, face, px, _ in runs(text.text, text.face, text.size):
                shown = load_font(face, px).metrics(part)
                assert all(shown), (text.text, part, face)


@pytest.mark.parametrize(("state", "size"), [c for c in CASES if c[0] in SLIPS_SHOWN], ids=str)
def test_names_of_slips_cover_neither_heads_nor_other_marks(state, size):
    view = view_of(state, size)
    layers = {layer.part: layer for layer in layers_of(state, size)}
    names = [t.box.inset(1.0) for t in texts(layers["desk slips"])]
    assert names
    heads = [
        box for place in find_places(view, parts_for(view, size))
        for box in head_boxes(view.page, place)
    ]  # fmt: skip
    for name in names:
        assert not any(name.meets(head.inset(1.0)) for head in heads)


def test_a_rescue_flag_and_a_twin_sign_on_one_barline_stand_side_by_side():
    size = (1920, 1080)
    desk = next(layer for layer in layers_of("rescue-points", size) if layer.part == "desk")
    flags = [op.box for op in desk.ops if isinstance(op, Shape)]
    signs = [
        op.box
        for op in desk.ops
        if isinstance(op, Line) and op.colour == LIGHT.soft and not op.dash
    ]
    assert flags
    assert signs
    assert not any(flag.meets(sign) for flag in flags for sign in signs)


def test_while_fingering_the_keys_for_it_are_told_whatever_was_said_before():
    view = replace(view_of("fingering", (1920, 1080)), note="Kept")
    heading = next(
        layer for layer in compose_layers(view, LIGHT, (1920, 1080)) if layer.part == "heading"
    )
    assert any(text.text.startswith("Fingering: 1 to 5") for text in texts(heading))


def test_names_on_the_page_stay_as_small_as_its_notation_at_a_large_scale():
    layers = compose_layers(view_of("after-pass", (1280, 800), 2.0), LIGHT, (1280, 800))
    view = view_of("after-pass", (1280, 800), 2.0)
    (px,) = {place.px for place in find_places(view, parts_for(view, (1280, 800)))}
    slips = next(layer for layer in layers if layer.part == "desk slips")
    assert texts(slips)
    assert all(14 <= text.size <= max(14, 2.2 * px) for text in texts(slips))


@pytest.mark.parametrize("state", ["after-pass", "strict-pass", "help"])
def test_compose_is_pure(state):
    size = (1920, 1080)
    view = view_of(state, size)
    first = compose(view, LIGHT, size)
    other = compose(replace(view, preferences=Preferences(theme="dark")), DARK, size)
    assert compose(view, LIGHT, size) == first
    assert [type(op) for op in other] == [type(op) for op in first]


def test_the_whole_view_is_one_list():
    size = (1280, 800)
    layers = layers_of("after-pass", size)
    assert compose(view_of("after-pass", size), LIGHT, size) == [
        op for layer in layers for op in layer.ops
    ]


def test_while_playing_the_page_carries_ticks_and_nothing_else():
    layers = {layer.part: layer for layer in layers_of("free-pass", (1920, 1080))}
    marks = layers["desk marks"].ops
    assert marks
    assert {type(op) for op in marks} == {Line}
    assert {op.colour for op in marks} == {LIGHT.heard}
    assert layers["desk pedal"].ops == ()


def test_after_a_pass_early_and_late_stand_on_different_sides_of_the_head():
    size = (1920, 1080)
    view = view_of("after-pass", size)
    layers = {layer.part: layer for layer in layers_of("after-pass", size)}
    lines = [op for op in layers["desk marks"].ops if isinstance(op, Line) and len(op.points) == 2]
    stalks = [op for op in lines if op.points[0][1] == op.points[1][1]]
    assert any(op.colour == LIGHT.early for op in stalks)
    for op in stalks:
        outward = op.points[1][0] - op.points[0][0]
        assert outward < 0 if op.colour == LIGHT.early else outward > 0 or op.colour == LIGHT.slip
    assert view.record is not None


def test_the_engraving_itself_is_never_painted_over_by_colour():
    # heads keep their print: the only pictures are systems, in ink, grey or dimmed
    for state in ("after-pass", "one-hand", "strict-pass"):
        for layer in layers_of(state, (1920, 1080)):
            for op in layer.ops:
                if isinstance(op, Picture):
                    assert set(op.tint) <= {LIGHT.ink, LIGHT.silent, LIGHT.dim}


def test_the_silent_hand_is_grey_and_the_rest_dimmed():
    pictures = [
        op
        for layer in layers_of("one-hand", (1920, 1080))
        for op in layer.ops
        if isinstance(op, Picture)
    ]
    tints = {op.tint for op in pictures}
    assert (LIGHT.silent, LIGHT.ink, LIGHT.ink) in tints  # the left hand alone is practised
    assert (LIGHT.dim, LIGHT.dim, LIGHT.dim) in tints


def test_from_memory_the_page_hides_ahead_and_comes_back():
    size = (1920, 1080)
    view = view_of("from-memory", size)
    snapshot = view.snapshot
    assert snapshot.place_q is not None
    bar = snapshot.arrangement.bar_at(snapshot.place_q).index
    assert hidden_from(view) == bar + 1
    assert hidden_from(replace(view, peeking=True)) is None
    for changes in ({"doubt": True}, {"state": "rest"}, {"from_memory": False}):
        assert hidden_from(replace(view, snapshot=replace(snapshot, **changes))) is None
    waiting = replace(snapshot, state="waiting", place_q=None)
    assert hidden_from(replace(view, snapshot=waiting)) == snapshot.span.from_bar


def test_hidden_bars_are_not_drawn():
    size = (1920, 1080)
    view, page = view_of("from-memory", size), view_of("from-memory", size).page
    first = hidden_from(view)
    assert page is not None
    assert first is not None
    for place in find_places(view, parts_for(view, size)):
        for bar in range(place.line.from_bar, place.line.to_bar + 1):
            if first <= bar <= view.snapshot.span.to_bar:
                left, right = page.bar_edges(bar)
                middle = Box(place.x + (left + right) / 2 * place.px, place.top, 1, 1)
                for layer in layers_of("from-memory", size):
                    pictures = [op for op in layer.ops if isinstance(op, Picture)]
                    assert not any(op.box.meets(middle) for op in pictures)


def test_a_run_through_leaves_the_screen_quiet():
    size = (1920, 1080)
    view = view_of("free-pass", size)
    view = replace(view, snapshot=replace(view.snapshot, run_through=True))
    layers = {layer.part: layer for layer in compose_layers(view, LIGHT, size)}
    assert layers["desk marks"].ops == ()
    assert layers["desk place"].ops == ()


def test_stages_differ_without_colour():
    from practice.window.form_map import HATCHING, draw_stage
    from practice.window.parts import arrange_parts

    parts, box = arrange_parts((1920, 1080)), Box(0, 0, 120, 20)
    drawn = {
        stage: tuple(
            (type(op).__name__, getattr(op, "points", None) or op.box)
            for op in draw_stage(stage, box, LIGHT, parts)
        )
        for stage in HATCHING
    }
    assert len(set(drawn.values())) == len(HATCHING)


def test_kinds_of_mark_differ_without_colour():
    from practice.window.desk_marks import draw_elsewhere, draw_heard, draw_missing, draw_timing
    from practice.window.legend import _SAMPLE, _Sample
    from practice.window.marks import SlipMark
    from practice.window.parts import arrange_parts

    parts = arrange_parts((1920, 1080))
    at = _Sample(100, 100, 10, Box(0, 0, 200, 200))

    def shape(ops):
        return tuple((type(op), op.points) for op in ops if isinstance(op, Line | Shape | Fill))

    shapes = {
        shape([draw_heard(at, _SAMPLE, LIGHT, parts)]),
        shape(draw_timing(at, _SAMPLE, -30.0, LIGHT, parts)),
        shape(draw_timing(at, _SAMPLE, 30.0, LIGHT, parts)),
        shape(draw_timing(at, _SAMPLE, 80.0, LIGHT, parts)),
        shape(draw_missing(at, _SAMPLE, LIGHT, parts)),
        shape(draw_elsewhere(at, _SAMPLE, SlipMark("wrong", 0, 2), LIGHT, parts)),
        shape(draw_elsewhere(at, _SAMPLE, SlipMark("extra", 0, 2), LIGHT, parts)),
    }
    assert len(shapes) == 7


def test_an_arrow_in_the_account_points_up_for_better_whatever_the_number_does():
    account = next(
        layer for layer in layers_of("real-change", (1920, 1080)) if layer.part == "account"
    )
    arrows = [op for op in account.ops if isinstance(op, Shape)]
    even, octaves = sorted(arrows, key=lambda op: op.box.y)
    assert even.points[2][1] > even.points[0][1]  # more uneven: down
    assert octaves.points[2][1] < octaves.points[0][1]  # octaves closer together: up


def test_a_line_of_the_account_without_a_number_says_why():
    account = next(
        layer for layer in layers_of("double-flats", (1920, 1080)) if layer.part == "account"
    )
    assert "too few whole cells" in [text.text for text in texts(account)]
