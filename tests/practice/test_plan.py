"""The plan: each rule on facts made for it."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.arrangement import Arrangement
from engine.drill import PassResult
from engine.drill.ladder import find_rung
from engine.section_review import section_span
from engine.standing import STAGES
from practice.plan.plan import make_plan
from practice.plan.plan_facts import (
    HandFacts,
    Parting,
    PlanFacts,
    find_partings,
    gather_facts,
)
from practice.plan.plan_items import PlanItem, PlanOptions
from practice.plan.plan_rules import RULES
from practice.plan.plan_sheets import sheet_of
from practice.plan.recall import Recall
from practice.progress.weak_bars import WeakBar
from practice.store.store import Store
from tests.practice.kept_history import evening, keep_pass, part_of

NOW = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


def fact(pans: Arrangement, section: int, hands: str = "both", **other: object) -> HandFacts:
    at = pans.form.sections[section]
    base = HandFacts(
        section, at.name, section_span(at), f"key{section}", hands, 13.0, "unplayed"
    )  # fmt: skip
    return replace(base, **other)


def due(days: int = 0, chance: float = 0.8) -> Recall:
    return Recall(NOW + timedelta(days=days), chance, 3)


def played(pans: Arrangement, section: int, stage: str, **other: object) -> HandFacts:
    values = {"stage": stage, "passes": 6, "tempo_share": 0.8, "recall": due(5), **other}
    return fact(pans, section, **values)


def plan(pans: Arrangement, *hands: HandFacts, options=None, **other) -> list[PlanItem]:
    facts = PlanFacts(pans, "pans.musicxml", tuple(hands), **other)
    return make_plan(facts, NOW, options)


def kinds(items: list[PlanItem]) -> list[str]:
    return [i.kind for i in items]


def test_what_is_due_comes_first_and_cold(pans: Arrangement) -> None:
    items = plan(
        pans,
        played(pans, 1, "secure", recall=due(0, 0.9)),
        played(pans, 3, "steady", recall=due(-3, 0.7)),
        played(pans, 4, "secure", recall=due(4)),
    )
    cold = [i for i in items if i.kind == "cold"]
    assert [i.section for i in cold] == [3, 1]
    assert kinds(items)[:3] == ["warm-up", "cold", "cold"]
    assert all(i.passes == 1 for i in cold)


def test_a_section_played_today_is_not_cold_any_more(pans: Arrangement) -> None:
    items = plan(pans, played(pans, 1, "steady", recall=due(), played_today=True))
    assert "cold" not in kinds(items)


def test_the_next_rung_is_a_step_up_only_when_steady(pans: Arrangement) -> None:
    steady = plan(pans, played(pans, 1, "steady"))
    assert next(i.rate for i in steady if i.kind == "ladder") == pytest.approx(0.83)
    reading = plan(pans, played(pans, 1, "reading"))
    assert next(i.rate for i in reading if i.kind == "ladder") == pytest.approx(0.8)
    assert "ladder" not in kinds(plan(pans, played(pans, 1, "secure")))


def test_it_never_slows_under_what_counts_and_climbs_again(pans: Arrangement) -> None:
    """Good passes at a slow tempo are the next rung, not more of the same."""
    crawl = played(pans, 1, "reading", tempo_share=0.4, wrong_twice=True)
    assert next(i.rate for i in plan(pans, crawl) if i.kind == "slower") == 0.5
    ready = played(pans, 1, "reading", tempo_share=0.55, good_lately=True)
    assert next(i.rate for i in plan(pans, ready) if i.kind == "ladder") == 0.57


def test_two_faulty_passes_slow_it_down(pans: Arrangement) -> None:
    items = plan(pans, played(pans, 1, "reading", wrong_twice=True))
    slower = next(i for i in items if i.kind == "slower")
    assert slower.rate == pytest.approx(0.64)
    assert slower.rule == "slower"


def test_hands_are_joined_when_each_is_steady(pans: Arrangement) -> None:
    alone = [played(pans, 1, "steady", hands=h) for h in ("left", "right")]
    assert "join" in kinds(plan(pans, *alone, fact(pans, 1)))
    alone[0] = played(pans, 1, "reading", hands="left")
    assert "join" not in kinds(plan(pans, *alone, fact(pans, 1)))


def test_a_few_new_sections_a_day_hands_together(pans: Arrangement) -> None:
    unplayed = [fact(pans, k, h) for k in range(1, 9) for h in ("left", "right", "both")]
    new = [i for i in plan(pans, *unplayed) if i.kind == "new"]
    assert {i.section for i in new} == {1, 2, 3, 4, 5}
    assert {i.hands for i in new} == {"both"}
    assert "hands together" in new[0].reason
    begun = [played(pans, k, "reading", begun_today=True) for k in (1, 2)]
    later = [fact(pans, k, h) for k in (3, 4) for h in ("left", "right", "both")]
    three = PlanOptions(new_a_day=3)
    items = plan(pans, *begun, *later, options=three)
    assert {i.section for i in items if i.kind == "new"} == {3}


def test_partings_are_practised_by_turns_until_both_are_secure(pans: Arrangement) -> None:
    spans = [section_span(pans.form.sections[k]) for k in (1, 3)]
    parting = Parting(spans[0], spans[1], "A flat, or G flat", (1, 3))
    pair = [played(pans, k, "steady") for k in (1, 3)]
    item = next(i for i in plan(pans, *pair, partings=(parting,)) if i.kind == "parting")
    assert item.other == spans[1]
    assert "A flat, or G flat" in item.reason
    secure = [played(pans, k, "secure") for k in (1, 3)]
    assert "parting" not in kinds(plan(pans, *secure, partings=(parting,)))


def test_new_sections_can_begin_with_each_hand_alone(pans: Arrangement) -> None:
    unplayed = [fact(pans, 1, h) for h in ("left", "right", "both")]
    alone = PlanOptions(begin="separately")
    new = [i for i in plan(pans, *unplayed, options=alone) if i.kind == "new"]
    assert {i.hands for i in new} == {"left", "right"}


def test_each_hand_alone_where_both_fall_apart(pans: Arrangement) -> None:
    """... unless never wanted; and joined again when each is steady."""
    wild = played(pans, 1, "reading", falls_apart=True, wrong_twice=True)
    alone = [fact(pans, 1, h) for h in ("left", "right")]
    apart = [i for i in plan(pans, *alone, wild) if i.kind == "apart"]
    assert {i.hands for i in apart} == {"left", "right"}
    assert apart[0].rule == "apart"
    together = plan(pans, *alone, wild, options=PlanOptions(begin="together"))
    assert {i.kind for i in together} == {"warm-up", "slower"}
    steady = [played(pans, 1, "steady", hands=h) for h in ("left", "right")]
    assert "join" in kinds(plan(pans, *steady, wild))


def test_neighbours_with_the_same_to_do_are_played_in_one_go(pans: Arrangement) -> None:
    near = [played(pans, k, "up to tempo", tempo_share=1.0) for k in (2, 3)]
    cold = next(i for i in plan(pans, *near) if i.kind == "cold")
    spans = [section_span(pans.form.sections[k]) for k in (2, 3)]
    assert (cold.span.from_bar, cold.span.to_bar) == (spans[0].from_bar, spans[1].to_bar)
    assert (cold.section, cold.last) == (2, 3)
    assert "in one go" in cold.reason
    far = [played(pans, k, "up to tempo", tempo_share=1.0) for k in (2, 4)]
    assert [i.section for i in plan(pans, *far) if i.kind == "cold"] == [2, 4]
    unlike = [played(pans, 2, "steady"), played(pans, 3, "steady", tempo_share=0.6)]
    assert {i.section for i in plan(pans, *unlike) if i.kind == "ladder"} == {2, 3}


def test_what_was_not_kept_cold_is_brought_back_until_it_stands(pans: Arrangement) -> None:
    """With the number of good passes in a row that the player set."""
    slipped = played(pans, 2, "up to tempo", kept_cold=False, row_today=2, played_today=True)
    ladder = next(i for i in plan(pans, slipped) if i.kind == "ladder")
    assert "not when cold" in ladder.reason
    assert ladder.rate == pytest.approx(0.92)
    assert "ladder" not in kinds(plan(pans, slipped, options=PlanOptions(enough=2)))
    assert "ladder" not in kinds(plan(pans, replace(slipped, kept_cold=True)))


def test_the_whole_is_run_through_once_a_day(pans: Arrangement) -> None:
    known = [played(pans, k, "steady") for k in (1, 2)]
    assert "run-through" in kinds(plan(pans, *known))
    assert "run-through" not in kinds(plan(pans, *known, ran_through_today=True))


def test_a_run_through_takes_as_long_as_the_whole_form(pans: Arrangement) -> None:
    """Sections that come again are among the facts once, and are played each time."""
    known = [played(pans, k, "steady") for k in (1, 2)]
    (run,) = [i for i in plan(pans, *known) if i.kind == "run-through"]
    whole_s = float(pans.seconds_at(float(pans.end_q)))
    assert run.minutes == round(whole_s / 60 + 1)


def test_neighbours_in_one_go_have_the_rule_of_their_reason(pans: Arrangement) -> None:
    """What is due stands for both, be it the first of the two on the page or not."""
    near = played(pans, 1, "up to tempo", recall=due(5), tempo_share=1.0)
    late = played(pans, 2, "up to tempo", recall=due(-1), tempo_share=1.0)
    (cold,) = [i for i in plan(pans, near, late) if i.kind == "cold"]
    assert cold.section == 1
    assert cold.reason.startswith("due for recall")
    assert cold.rule == "recall"


def test_what_today_came_to_is_told_after_many_passes_too(store: Store, pans: Arrangement) -> None:
    """More passes than are looked at for the last tempo: begun today, and not kept cold."""
    new, old, slipped = pans.form.sections[1:4]
    keep_pass(store, pans, evening(0), [part_of(pans, old, asked=False)])
    keep_pass(store, pans, evening(0, 5), [part_of(pans, slipped)])
    keep_pass(store, pans, evening(1), [part_of(pans, slipped, off=9)])
    for k in range(24):
        parts = [part_of(pans, section) for section in (new, old, slipped)]
        keep_pass(store, pans, evening(1, 1 + k), parts)
    facts = gather_facts(store, pans, "pans.musicxml", evening(1, 40))
    told = {h.section: h for h in facts.hands if h.hands == "both"}
    assert [told[k].begun_today for k in (1, 2, 3)] == [True, False, False]
    assert [told[k].kept_cold for k in (1, 2, 3)] == [True, True, False]


def test_the_stopping_rule_reaches_the_drill(pans: Arrangement) -> None:
    options = PlanOptions(enough=4)
    items = plan(pans, played(pans, 1, "steady"), options=options)
    sheet = sheet_of(next(i for i in items if i.kind == "ladder"), pans, options)
    assert (sheet.ladder.good_to_stand, sheet.ladder.good_to_rise) == (4, 1)
    assert sheet.ladder.poor_to_fall == 2
    done = [PassResult(section_span(pans.form.sections[1]), "both", 1.0, True)] * 4
    assert find_rung(replace(sheet.ladder, start=1.0), done).done
    assert not find_rung(replace(sheet.ladder, start=1.0), done[:3]).done


def test_the_simulated_learners_are_those_written_down() -> None:
    """The plan was tuned after their model was frozen; a change would make the table untrue."""
    from tests.bench.bench_plan import is_frozen

    assert is_frozen()


def test_two_look_alikes_are_never_both_new_on_one_day(pans: Arrangement) -> None:
    spans = [section_span(pans.form.sections[k]) for k in (1, 3)]
    alike = (Parting(spans[0], spans[1], "", (1, 3)),)
    unplayed = [fact(pans, k) for k in (1, 2, 3)]
    new = [i for i in plan(pans, *unplayed, partings=alike) if i.kind == "new"]
    assert {i.section for i in new} == {1, 2}
    begun = played(pans, 1, "reading", begun_today=True)
    assert "new" not in kinds(plan(pans, begun, fact(pans, 3), partings=alike))


def test_sections_take_turns_unless_switched_off(pans: Arrangement) -> None:
    hands = [played(pans, k, "steady", tempo_share=t) for k, t in ((1, 0.8), (2, 0.74), (3, 0.86))]
    short = PlanOptions(turn_min=1.0)
    by_turns = [i.section for i in plan(pans, *hands, options=short) if i.kind == "ladder"]
    blocked = [
        i.section
        for i in plan(pans, *hands, options=PlanOptions(turns=False))
        if i.kind == "ladder"
    ]
    assert len(by_turns) > len(blocked) == 3
    assert all(a != b for a, b in itertools.pairwise(by_turns))


def test_a_run_through_before_a_date_comes_first_and_otherwise_last(pans: Arrangement) -> None:
    known = [played(pans, k, "steady", recall=due()) for k in (1, 2)]
    soon = PlanOptions(performance=date(2026, 3, 6))
    far = PlanOptions(performance=date(2026, 9, 6))
    assert kinds(plan(pans, *known))[-1] == "run-through"
    assert kinds(plan(pans, *known, options=soon))[:2] == ["warm-up", "run-through"]
    assert "performance in 5 days" in plan(pans, *known, options=soon)[1].reason
    assert "run-through" not in kinds(plan(pans, *known, options=far))
    assert "run-through" not in kinds(plan(pans, *known, fact(pans, 3)))


def test_weak_bars_are_those_that_went_wrong_twice(pans: Arrangement) -> None:
    items = plan(pans, played(pans, 2, "steady"), weak=(WeakBar(22, 3, 4, "both"),))
    weak = next(i for i in items if i.kind == "weak bars")
    assert weak.reason == "bar 23 went wrong in 3 of its last 4 passes"
    assert (weak.span.from_bar, weak.span.to_bar) == (21, 23)


STAGE = st.sampled_from(STAGES)


@given(
    stages=st.lists(STAGE, min_size=1, max_size=5),
    minutes=st.floats(5, 120),
    turns=st.booleans(),
    late=st.integers(-10, 10),
)
def test_any_plan_keeps_its_time_and_gives_its_reasons(stages, minutes, turns, late) -> None:
    pans = _PANS[0]
    hands = [
        fact(pans, k + 1) if stage == "unplayed" else played(pans, k + 1, stage, recall=due(late))
        for k, stage in enumerate(stages)
    ]
    options = PlanOptions(minutes=minutes, turns=turns)
    items = make_plan(PlanFacts(pans, "p", tuple(hands)), NOW, options)
    spent = sum(i.minutes for i in items if i.kind not in ("break", "run-through"))
    assert spent <= minutes + 0.05 * len(items)
    assert all(i.reason and i.rule in RULES for i in items)
    assert not items or items[-1].kind != "break"
    work = 0.0
    for item in items:
        work = 0.0 if item.kind == "break" else work + item.minutes
        assert work <= max(options.break_after_min, item.minutes) + 1e-6


_PANS: list[Arrangement] = []


@pytest.fixture(scope="module", autouse=True)
def _share(pans: Arrangement) -> None:
    _PANS.append(pans)


def test_every_rule_says_what_it_rests_on() -> None:
    assert all(rule.source and rule.what for rule in RULES.values())
    assert RULES["enough"].strength == "none known"
    assert "no direct evidence" in RULES["enough"].source


def test_partings_never_fill_a_short_evening(pans: Arrangement) -> None:
    spans = [section_span(pans.form.sections[k]) for k in (1, 3)]
    partings = tuple(Parting(spans[0], spans[1], word, (1, 3)) for word in ("a", "b"))
    pair = [played(pans, k, "reading") for k in (1, 3)]
    for minutes, most in ((8, 0), (15, 1), (40, 2)):
        items = plan(pans, *pair, partings=partings, options=PlanOptions(minutes=minutes))
        assert len({i.reason for i in items if i.kind == "parting"}) == most
        assert "ladder" in kinds(items)


def test_a_parting_lies_in_the_section_of_the_bar_that_differs(pans: Arrangement) -> None:
    """Bar 28 is the last of its section: the bar after it is not what is alike."""
    parting = next(p for p in find_partings(pans) if p.words.startswith("bar 28 goes on"))
    names = [pans.form.sections[k].name for k in parting.sections]
    assert names == ["Still Water", "Ebb again"]


def test_a_new_section_waits_for_the_one_it_is_like_at_its_last_bar(pans: Arrangement) -> None:
    unplayed = [fact(pans, k) for k in (2, 10)]
    new = [i for i in plan(pans, *unplayed, partings=tuple(find_partings(pans))) if i.kind == "new"]
    assert {i.section for i in new} == {2}
