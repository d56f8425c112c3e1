"""What the page says at its head: planted things are found, and chance alone is not news."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from engine.findings import no_estimate
from engine.measure.change import Change
from engine.standing import Retention, Standing
from practice.progress.changes import Claim
from practice.progress.news import compare_shares, find_news
from practice.progress.progress import HandProgress, Progress, SectionProgress, Weak
from practice.store.history import Day, Sums, Totals, mean_from
from practice.store.section_store import Edit

DAY = Day("key", "both", "2026-01-05", 1, 1, 0, 1.0, 9.0, 1.0, mean_from(0, 0, 0, "ms"),
          mean_from(0, 0, 0, "ms"))  # fmt: skip


def section(index: int, **hand: object) -> SectionProgress:
    """A section that both hands have played."""
    at = Standing(index, "both", "reading", "", "", 9, 0)
    told = replace(HandProgress("both", at, (DAY,)), **hand)
    return SectionProgress(index, f"Section {index}", f"k{index}", "1", "8", 8, (), (told,))


def page(*sections: SectionProgress, **other: object) -> Progress:
    """A page of these sections and nothing else."""
    bare = Progress("A", "h", Totals(9, 9, 9, "a", "b"), 1.0, tuple(sections), (), Edit())
    return replace(bare, **other)


def places(rng: np.random.Generator, means: Sequence[float], n: int = 20) -> tuple[tuple[float]]:
    rows = rng.normal(means, 4.0, (n, len(means)))
    return tuple(map(tuple, rows.tolist()))


def nights(rng: np.random.Generator, lost: float, n: int = 20) -> tuple[Retention, ...]:
    kept = 0.95 - lost + rng.normal(0, 0.03, n)
    return tuple(Retention("b", "a", 1, k, 0.95, 1.0) for k in kept.tolist())


def test_a_late_place_is_named_with_its_sections() -> None:
    rng = np.random.default_rng(1)
    late = [0, 0, 14, 0]
    (news,) = find_news(page(*(section(k, places_now=places(rng, late)) for k in (1, 2))))
    assert news.words.startswith(
        "Place 3 of the figure comes late by 12 to 15 ms in Section 1 and "
    )
    assert (news.kind, news.n, news.of) == ("place", 40, "passes")
    early = section(1, places_now=places(rng, [-14, 0, 0, 0]))
    assert "Place 1 of the figure comes early" in find_news(page(early))[0].words


def test_what_cannot_be_heard_or_rests_on_too_little_is_no_news() -> None:
    rng = np.random.default_rng(2)
    small = section(1, places_now=places(rng, [0, 5, 0, 0]))
    few = section(2, places_now=places(rng, [0, 30, 0, 0], 4))
    assert find_news(page(small, few)) == ()


def test_a_section_that_loses_overnight_is_told_from_those_that_keep() -> None:
    rng = np.random.default_rng(3)
    told = find_news(page(section(1, retention=nights(rng, 0.08)), section(2)))
    assert [one.kind for one in told] == ["overnight"]
    assert "Section 1 loses" in told[0].words
    assert told[0].n == 20
    assert find_news(page(section(1, retention=nights(rng, -0.01)))) == ()


def test_a_kind_of_slip_that_grows_is_named_with_both_counts() -> None:
    kinds = (("2026-01", "brushed", 10), ("2026-01", "left out", 90),
             ("2026-02", "brushed", 40), ("2026-02", "left out", 60))  # fmt: skip
    told = [one.words for one in find_news(page(section(1), kinds=kinds))]
    assert told[0] == (
        "Of the slips in 2026-02, 40% are brushed (40 of 100), more than the 10% of the months "
        "before (10 of 100)."
    )
    few = tuple((month, kind, n // 10) for month, kind, n in kinds)
    assert find_news(page(section(1), kinds=few)) == ()


@pytest.mark.parametrize("table", [(40, 100, 10, 100), (80, 593, 24, 320), (3, 50, 9, 60)])
def test_shares_are_compared_as_by_chi_square(table: tuple[int, int, int, int]) -> None:
    """Against scipy.stats.chi2_contingency without continuity correction."""
    a, of_a, b, of_b = table
    told = stats.chi2_contingency([[a, of_a - a], [b, of_b - b]], correction=False)
    assert compare_shares(*table) == pytest.approx(told.pvalue, rel=1e-9)


def test_weak_bars_and_dear_sections_are_named() -> None:
    cheap = section(1, sums=Sums(5, 30, 25, 600.0))
    dear = section(2, sums=Sums(5, 20, 2, 600.0))
    weak = (Weak("14", 3, 4, "both"), Weak("29", 2, 4, "both"))
    told = [one.words for one in find_news(page(cheap, dear, weak=weak))]
    assert told[0] == (
        "Bars 14 (in 3 of its last 4 passes) and 29 (in 2 of its last 4 passes) go wrong again "
        "and again."
    )
    assert "Section 2 took 50% of the time and brought 2 of 27 good passes" in told[1]


def test_chance_alone_is_seldom_news() -> None:
    """Pages of four sections with nothing in them: at most one in twenty for each kind."""
    rng = np.random.default_rng(4)
    wrong = 0
    for _ in range(200):
        sections = [section(k, places_now=places(rng, [0] * 8), retention=nights(rng, 0.0))
                    for k in range(4)]  # fmt: skip
        now, before = (rng.multinomial(100, [0.4, 0.3, 0.2, 0.1]).tolist() for _ in range(2))
        kinds = tuple((month, f"kind {k}", n) for month, row in (("b", now), ("a", before))
                      for k, n in enumerate(row))  # fmt: skip
        wrong += len({one.kind for one in find_news(page(*sections, kinds=kinds))})
    assert wrong <= 200 * 2 * 0.05


def test_a_place_that_came_right_is_told_from_one_that_never_did() -> None:
    rng = np.random.default_rng(6)
    mended = section(
        1, places_then=places(rng, [0, 14, 0]), places_now=places(rng, [0, 1, 0])
    )  # fmt: skip
    (news,) = find_news(page(mended))
    assert news.words == "Place 2 of the figure has come right: Section 1 +15 to +1 ms (40 passes)."
    same = section(1, places_then=places(rng, [0, 4, 0]), places_now=places(rng, [0, 1, 0]))
    assert find_news(page(same)) == ()


def claim(verdict: str, short: str, words: str = "w") -> Claim:
    change = Change(verdict, no_estimate("", "ms"), 0.001, None, "a test", "")
    return Claim("evenness", change, 20, words, short)


def test_like_changes_are_told_in_one_sentence_and_what_got_worse_first() -> None:
    better = [section(k, claims=(claim("better", f"{k} ms to 1 ms since then"),)) for k in (1, 2)]
    worse = section(3, claims=(claim("worse", "", "evenness: worse"),))
    told = [one.words for one in find_news(page(*better, worse))]
    assert told == [
        "Section 3: evenness: worse.",
        "Evenness: better in 2 sections: Section 1 1 ms to 1 ms since then; "
        "Section 2 2 ms to 1 ms since then (a test, p at most 0.001; 40 passes).",
    ]


def test_a_dear_section_is_held_against_others_of_its_name_too() -> None:
    dear = replace(section(1, sums=Sums(3, 9, 1, 3600.0)), name="Verse")
    cheap = replace(section(2, sums=Sums(3, 9, 9, 60.0)), name="Verse")
    (one,) = find_news(page(dear, cheap))
    assert "brought 1 of 10 good passes of a section; 60.0 minutes each" in one.words


def test_sections_and_passes_are_counted_once_whatever_was_compared() -> None:
    """Against the days before and against the first ones: one section, and the same passes."""
    lately = claim("better", "4 ms to 2 ms lately")
    ever = replace(claim("better", "9 ms to 2 ms since 2026-01-05"), since="since 2026-01-05")
    (one,) = find_news(page(section(1, claims=(lately, ever))))
    assert one.words == (
        "Evenness: better in 1 section: Section 1 4 ms to 2 ms lately; "
        "Section 1 9 ms to 2 ms since 2026-01-05 (a test, p at most 0.001; 20 passes)."
    )
    assert one.n == 20
    hands = section(2, claims=(lately,))
    left = replace(hands.hands[0], hands="left")
    (one,) = find_news(page(replace(hands, hands=(left, *hands.hands))))
    assert "in 1 section: Section 2, left hand 4 ms" in one.words
    assert one.n == 40


def test_a_plateau_of_one_section_is_told_once() -> None:
    lately = claim("no change", "", "evenness: a plateau")
    ever = replace(lately, since="since 2026-01-05")
    (one,) = find_news(page(section(1, claims=(lately, ever))))
    assert one.words == "Section 1: evenness: a plateau."


def test_a_plateau_is_news_only_where_there_is_some_way_to_go() -> None:
    flat = section(1, claims=(claim("no change", "", "evenness: a plateau"),))
    assert [one.kind for one in find_news(page(flat))] == ["no change"]
    secure = Standing(1, "both", "secure", "", "", 9, 9)
    there = replace(flat, hands=(replace(flat.hands[0], standing=secure),))
    assert find_news(page(there)) == ()


def test_a_section_without_a_good_pass_is_given_no_price_for_each() -> None:
    """And every other section counts among the others, however seldom it was played."""
    dear = replace(section(1, sums=Sums(3, 9, 0, 600.0)), name="Verse")
    cheap = section(2, sums=Sums(3, 9, 9, 60.0))
    seldom = section(3, sums=Sums(1, 1, 1, 60.0))
    (one,) = find_news(page(dear, cheap, seldom))
    assert "brought 0 of 10 good passes of a section; 10.0 minutes for none" in one.words
