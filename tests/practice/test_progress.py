"""Progress from the take store: stages, curves, claims, and every form it is shown in."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from engine.arrangement import Arrangement
from practice.progress.changes import find_candidates, judge_candidates
from practice.progress.progress import read_map, read_progress
from practice.progress.progress_data import COLUMNS, progress_csv, progress_json
from practice.progress.progress_page import progress_html
from practice.progress.progress_plots import draw_plots, svg_text, write_pdf, write_pngs
from practice.progress.progress_text import BARS, say_progress, say_slips, sparkline
from practice.store.history import mean_from, read_days, read_kinds, read_places, read_retention
from practice.store.store import Store
from tests.practice.kept_history import evening, keep_pass, part_of


@pytest.fixture
def practised(store: Store, pans: Arrangement) -> Store:
    """Fourteen evenings on one section: uneven and faulty at first, then neither."""
    inlet = pans.form.sections[1]
    for day in range(14):
        late = day >= 7
        for k in range(3):
            spread = (9.0 if late else 16.0) + 0.2 * math.sin(7 * day + k)
            part = part_of(pans, inlet, off=0 if late else 5, evenness_ms=spread)
            keep_pass(store, pans, evening(day, 5 * k), [part])
    return store


def test_means_have_the_t_interval() -> None:
    """Against scipy.stats.t."""
    values = np.array([9.0, 12.5, 11.0, 10.0])
    told = mean_from(4, values.sum(), (values**2).sum(), "ms")
    low, high = scipy.stats.t.interval(0.95, 3, values.mean(), scipy.stats.sem(values))
    assert (told.value, told.low, told.high) == pytest.approx((values.mean(), low, high))
    assert mean_from(1, 9.0, 81.0, "ms").low is None
    assert mean_from(0, 0.0, 0.0, "ms").reason


def test_days_sum_up_their_passes(practised: Store, pans: Arrangement) -> None:
    key = read_progress(practised, pans).sections[1].key
    days = read_days(practised, key, "both", 1.0)
    assert len(days) == 14
    first = days[0]
    assert (first.day, first.passes, first.good, first.parts) == ("2026-01-05", 3, 0, 0)
    assert first.right_share == pytest.approx(100 / 105)
    assert first.evenness_ms.n == 3
    assert first.evenness_ms.value == pytest.approx(16.0, abs=0.2)
    assert read_days(practised, key, "both", 0.5)[0].evenness_ms.value is None


@pytest.mark.parametrize(
    ("together_ms", "days", "verdict"), [(19.0, 6, "worse"), (12.1, 6, "no change"), (19.0, 3, "")]
)
def test_what_the_other_hand_costs_is_claimed_over_days(
    store: Store, pans: Arrangement, together_ms: float, days: int, verdict: str
) -> None:
    inlet = pans.form.sections[1]
    for day in range(days):
        for minute, hands, ms in ((0, "left", 12.0), (20, "both", together_ms)):
            # The left hand alone at full tempo too, where it is no matter of comparison.
            spread = ms + math.sin(5 * day + minute)
            part = part_of(pans, inlet, evenness_ms=spread, hands=hands, tempo=0.8)
            keep_pass(store, pans, evening(day, minute), [part])
        fast = part_of(pans, inlet, evenness_ms=90.0, hands="left", tempo=1.0)
        keep_pass(store, pans, evening(day, 40), [fast])
    both = read_progress(store, pans).sections[1].hands[2]
    claims = [c for c in both.claims if c.measure == "with the other hand"]
    assert [c.change.verdict for c in claims] == ([verdict] if verdict else [])
    for claim in claims:
        said = (
            "the figure is worse, 12." if verdict == "worse" else "no cost to the figure of 2.0 ms"
        )
        assert said in claim.words
        assert "6 days on which it was played alone and together, 12 passes" in claim.words
        assert claim.words in "\n".join(say_progress(read_progress(store, pans), False))


def test_figures_from_another_instrument_are_no_part_of_the_series(
    practised: Store, pans: Arrangement
) -> None:
    inlet = pans.form.sections[1]
    key = read_progress(practised, pans).sections[1].key
    assert find_candidates(read_days(practised, key, "both", 1.0))
    # An evening on both, then one on the other alone.
    part = part_of(pans, inlet, evenness_ms=40.0)
    keep_pass(practised, pans, evening(14), [part_of(pans, inlet, evenness_ms=9.0)])
    for day in (14, 15):
        keep_pass(practised, pans, evening(day, 9), [part], instrument="upright")
    days = read_days(practised, key, "both", 1.0)
    assert [d.evenness_ms.value for d in days[-3:]] == [None, 40.0, 40.0]
    assert [d.timing_ms.n for d in days[-3:]] == [0, 1, 1]
    assert len({d.instrument for d in days[:14]}) == 1
    assert days[14].instrument == -1
    assert days[15].passes == 1
    assert find_candidates(days) == []
    # Back on the first: its own days are the series again, the mixed evening with its own part.
    keep_pass(practised, pans, evening(16), [part_of(pans, inlet, evenness_ms=9.0)])
    days = read_days(practised, key, "both", 1.0)
    assert [d.evenness_ms.value for d in days[-3:]] == [9.0, None, 9.0]
    assert all(40.0 not in c.later for c in find_candidates(days))
    then, now = read_places(practised, key, "both", 1.0)
    assert len(then) == len(now) == 20


def test_a_map_cell_for_every_section_and_hand(practised: Store, pans: Arrangement) -> None:
    cells = read_map(practised, pans)
    assert len(cells) == 3 * len(pans.form.sections)
    inlet = {c.hands: c for c in cells if c.section == 1}
    assert inlet["both"].stage == "secure"
    assert (inlet["both"].passes, inlet["both"].last_cold) == (42, "2026-01-18")
    assert inlet["left"].stage == "unplayed"
    again = next(k for k, s in enumerate(pans.form.sections) if s.name == "Inlet again")
    assert next(c for c in cells if (c.section, c.hands) == (again, "both")).stage == "secure"


def test_a_real_change_is_claimed_with_its_test_and_count(
    practised: Store, pans: Arrangement
) -> None:
    both = read_progress(practised, pans).sections[1].hands[2]
    words = {claim.measure: claim.words for claim in both.claims}
    assert set(words) == {"evenness", "notes right"}
    assert re.search(
        r"evenness: better, 1\d\.\d ms to 9\.\d ms \(lately, 7 days against 7, 42 passes",
        words["evenness"],
    )
    assert "permutation test over sessions" in words["evenness"]
    assert "2 comparisons made" in words["evenness"]


def test_what_crept_up_over_months_is_claimed_since_the_start(
    store: Store, pans: Arrangement
) -> None:
    inlet = pans.form.sections[1]
    for day in range(30):
        spread = 15.0 - 0.2 * day + 0.4 * math.sin(5 * day)
        keep_pass(store, pans, evening(day), [part_of(pans, inlet, evenness_ms=spread)])
    words = [c.words for c in read_progress(store, pans).sections[1].hands[2].claims]
    assert any("evenness: better" in w and "since 2026-01-05" in w for w in words)


def test_noise_is_seldom_claimed(store: Store, pans: Arrangement) -> None:
    """200 histories without any change: at most 5 % and what chance adds (binomial, 99.9 %)."""
    rng = np.random.default_rng(5)
    inlet = pans.form.sections[1]
    for day in range(12):
        keep_pass(store, pans, evening(day), [part_of(pans, inlet)])
    days = read_days(store, read_progress(store, pans).sections[1].key, "both", 1.0)
    claimed = 0
    for _ in range(200):
        noisy = [_with_evenness(day, float(rng.normal(12, 2))) for day in days]
        candidates = [c for c in find_candidates(noisy) if c.measure == "evenness"]
        claims = judge_candidates(candidates, 1)
        claimed += any(c.change.verdict in ("better", "worse") for c in claims)
    assert claimed <= scipy.stats.binom.ppf(0.999, 200, 0.05)


def _with_evenness(day, value):
    from dataclasses import replace

    from engine.findings import Estimate

    return replace(day, evenness_ms=Estimate(value, None, None, 1, "ms"))


def test_a_regression_is_claimed_and_a_plateau_named(store: Store, pans: Arrangement) -> None:
    inlet, water = pans.form.sections[1], pans.form.sections[2]
    for day in range(12):
        worse = 9.0 if day < 6 else 15.0
        wobble = 0.3 * math.sin(3 * day)
        parts = [
            part_of(pans, inlet, evenness_ms=worse + wobble),
            part_of(pans, water, evenness_ms=11 + wobble),
        ]
        keep_pass(store, pans, evening(day), parts)
    sections = read_progress(store, pans).sections
    verdicts = {
        (s.name, c.measure): c.change.verdict for s in sections for h in s.hands for c in h.claims
    }
    assert verdicts["Inlet", "evenness"] == "worse"
    assert verdicts["Still Water", "evenness"] == "no change"


def test_another_instrument_is_not_compared(store: Store, pans: Arrangement) -> None:
    inlet = pans.form.sections[1]
    for day in range(12):
        name = "old" if day < 6 else "new"
        part = part_of(pans, inlet, evenness_ms=16.0 if day < 6 else 9.0)
        keep_pass(store, pans, evening(day), [part], name)
    assert read_progress(store, pans).sections[1].hands[2].claims == ()


def test_retention_compares_the_cold_pass_with_the_day_before(
    store: Store, pans: Arrangement
) -> None:
    inlet = pans.form.sections[1]
    for day, minute, off in ((0, 0, 20), (0, 5, 0), (0, 10, 5), (3, 0, 10)):
        keep_pass(store, pans, evening(day, minute), [part_of(pans, inlet, off=off)])
    key = read_progress(store, pans).sections[1].key
    (kept,) = read_retention(store, key, "both")
    assert (kept.before, kept.day, kept.nights) == ("2026-01-05", "2026-01-08", 3)
    assert (kept.cold, kept.last, kept.best) == pytest.approx((100 / 110, 100 / 105, 1.0))


def test_slips_are_counted_by_kind_and_month(store: Store, pans: Arrangement) -> None:
    inlet = pans.form.sections[1]
    for day in (0, 1, 40):
        part = part_of(pans, inlet, slips={"brushed": 2, "left out": 1})
        keep_pass(store, pans, evening(day), [part])
    key = read_progress(store, pans).sections[1].key
    assert read_kinds(store, [key]) == [
        ("2026-01", "brushed", 4), ("2026-01", "left out", 2),
        ("2026-02", "brushed", 2), ("2026-02", "left out", 1),
    ]  # fmt: skip
    told = progress_json(read_progress(store, pans))["sections"]
    assert told[1]["kinds"][-1] == {"month": "2026-02", "kind": "left out", "count": 1}
    assert told[0]["kinds"] == []
    words = say_slips(read_progress(store, pans).sections[1].kinds)
    assert words == "brushed 2, left out 1 (2026-02); in all brushed 6, left out 3"


def test_places_are_of_the_oldest_and_the_newest_and_never_the_same(
    practised: Store, pans: Arrangement
) -> None:
    key = read_progress(practised, pans).sections[1].key
    then, now = read_places(practised, key, "both", 1.0)
    assert (len(then), len(now)) == (20, 20)
    assert then[0] == [float(k) for k in range(8)]
    assert read_places(practised, key, "left", 1.0) == ([], [])


def test_sparklines_are_eight_heights() -> None:
    assert sparkline([0, 1, 2, 3, 4, 5, 6, 7]) == BARS
    assert sparkline([3.0, None, 3.0]) == BARS[0] + " " + BARS[0]
    assert sparkline([None]) == ""


def test_the_terminal_has_sparklines_and_a_pipe_has_none(
    practised: Store, pans: Arrangement
) -> None:
    progress = read_progress(practised, pans)
    shown, piped = (list(say_progress(progress, terminal)) for terminal in (True, False))
    assert any(bar in line for line in shown for bar in BARS)
    assert not any(bar in line for line in piped for bar in BARS)
    assert piped[0].startswith("Salt Pans, Night Shift: 21 of 42 passes good (50%), on 14 days")


def test_json_and_csv_hold_the_same(practised: Store, pans: Arrangement) -> None:
    progress = read_progress(practised, pans)
    told = json.loads(json.dumps(progress_json(progress), allow_nan=False))
    assert told["version"] == 1
    rows = list(csv.DictReader(io.StringIO(progress_csv(progress))))
    assert list(rows[0]) == list(COLUMNS)
    days = told["sections"][1]["hands"][2]["days"]
    assert [row["day"] for row in rows] == [day["day"] for day in days]
    assert float(rows[0]["evenness_ms"]) == pytest.approx(days[0]["evenness_ms"]["value"], abs=0.01)


class _Page(HTMLParser):
    """Checks that tags close in order, and gathers what a reader without eyes gets."""

    VOID = frozenset({"meta", "br", "link", "path", "use", "rect", "line", "circle"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.labels: list[str] = []
        self.wanted: list[str] = []

    def handle_starttag(self, tag, attrs):
        named = dict(attrs)
        if tag not in self.VOID:
            self.open.append(tag)
        if tag == "svg":
            self.labels.append(named.get("aria-label", ""))
        self.wanted += [named[a] for a in ("src",) if a in named]
        if tag in ("link", "script", "img"):
            self.wanted.append(tag)

    def handle_endtag(self, tag):
        if tag not in self.VOID:
            assert self.open.pop() == tag


def test_the_page_is_whole_in_one_file_and_says_what_it_shows(
    practised: Store, pans: Arrangement
) -> None:
    html = progress_html(read_progress(practised, pans), evening(20))
    page = _Page()
    page.feed(html)
    assert page.open == []
    assert page.wanted == []
    assert len(page.labels) >= 4
    assert all(len(label) > 20 for label in page.labels)
    assert "Inlet: left unplayed, right unplayed, both secure" in html
    once, again = (svg_text(next(draw_plots(read_progress(practised, pans)))) for _ in range(2))
    assert once == again


def test_an_empty_history_is_said_plainly(store: Store, pans: Arrangement) -> None:
    progress = read_progress(store, pans)
    assert "no pass of yours kept yet" in next(say_progress(progress, True))
    assert "No pass has been kept yet" in progress_html(progress, evening(0))
    assert [plot.name for plot in draw_plots(progress)] == ["map"]


def test_pictures_and_pdf_are_written(practised: Store, pans: Arrangement, tmp_path: Path) -> None:
    progress = read_progress(practised, pans)
    paths = write_pngs(progress, str(tmp_path / "plots"), evening(20))
    assert {p.name for p in paths} >= {"map.png", "section-2.png", "places-2-both.png", "time.png"}
    assert all(p.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n" for p in paths)
    write_pdf(progress, str(tmp_path / "progress.pdf"), evening(20), ["A line of words."])
    data = (tmp_path / "progress.pdf").read_bytes()
    assert data.startswith(b"%PDF-")
    boxes = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", data)
    assert {(round(float(w)), round(float(h))) for w, h in boxes} == {(595, 842)}  # A4, ISO 216
    assert 1 <= len(boxes) < len(paths)
