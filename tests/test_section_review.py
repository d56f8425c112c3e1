"""A pass told section by section, on the shipped miniature."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from engine.arrangement import Arrangement, Span
from engine.form import find_form
from engine.performance import pair_notes
from engine.read import read_arrangement
from engine.review import PassReview, review_take
from engine.section_review import bar_key, review_sections, section_key
from practice.player import Character, SlipShares, perform, perform_with_truth


@pytest.fixture(scope="module")
def pans(exercises: Path) -> Arrangement:
    arrangement = read_arrangement(exercises / "salt-pans-night-shift.musicxml")
    return arrangement if arrangement.form.sections else replace(
        arrangement, form=find_form(arrangement)
    )  # fmt: skip


def play(pans: Arrangement, character: Character, span: Span, seed: int = 1) -> PassReview:
    events = perform(pans, character, np.random.default_rng(seed), span=span)
    (one,) = review_take(pans, pair_notes(events), span=span, hands="both").passes
    return one


def section(pans: Arrangement, name: str, which: int = 0) -> int:
    found = [k for k, s in enumerate(pans.form.sections) if s.name.startswith(name)]
    return found[which]


def test_a_section_that_comes_again_has_the_same_key(pans: Arrangement) -> None:
    sections = pans.form.sections
    once, again = (sections[section(pans, "Still Water", k)] for k in (0, 1))
    assert section_key(pans, once) == section_key(pans, again)
    crystal = sections[section(pans, "Crystal")]
    assert section_key(pans, once) != section_key(pans, crystal)


def test_a_bar_keeps_its_key_whatever_its_ids_and_fingers(pans: Arrangement) -> None:
    renamed = replace(
        pans, notes=tuple(replace(n, note_id="x" + n.note_id, fingering="3") for n in pans.notes)
    )
    assert bar_key(renamed, 10) == bar_key(pans, 10)
    respelled = replace(pans, notes=tuple(replace(n, alter=0) for n in pans.notes))
    assert bar_key(respelled, 10) != bar_key(pans, 10)


def test_a_perfect_pass_is_good_in_every_section(pans: Arrangement) -> None:
    one = play(pans, Character(), Span(0, len(pans.bars) - 1))
    parts = review_sections(pans, one)
    assert len(parts) == len(pans.form.sections)
    assert all(part.good and part.asked for part in parts)
    assert {type(n) for p in parts for n in (p.facts.extra, p.facts.missing)} == {int}
    assert sum(p.facts.right for p in parts) == len(pans.notes)
    assert [p.tempo_share for p in parts] == pytest.approx([1.0] * len(parts))


def test_a_faulty_bar_makes_only_its_own_section_bad(pans: Arrangement) -> None:
    from_bar = pans.form.sections[section(pans, "Still Water")].from_bar
    whole = Span(0, from_bar + 12)
    events = [
        e for e in perform(pans, Character(), np.random.default_rng(1), span=whole)
        if not (e.data[0] == 0x90 and _bar_at(pans, e.time_s) == from_bar + 2)
    ]  # fmt: skip
    (one,) = review_take(pans, pair_notes(events), span=whole, hands="both").passes
    parts = review_sections(pans, one, whole)
    names = [s.name for s in pans.form.sections[: len(parts)]]
    bad = [name for name, part in zip(names, parts, strict=True) if part.asked and not part.good]
    assert bad == ["Still Water"]
    assert parts[2].facts.missing == 12  # eight of the figure and two octaves


def _bar_at(pans: Arrangement, time_s: float) -> int:
    return pans.bar_at(float(pans.quarters_at(time_s + 1e-6))).index


def test_a_part_of_a_section_is_not_asked_for_whole(pans: Arrangement) -> None:
    inlet = pans.form.sections[section(pans, "Inlet")]
    span = Span(inlet.from_bar + 1, inlet.to_bar - 2)
    (part,) = review_sections(pans, play(pans, Character(), span), span)
    assert not part.asked
    assert not part.facts.completed


def test_stopping_inside_a_section_is_not_completing_it(pans: Arrangement) -> None:
    inlet = pans.form.sections[section(pans, "Inlet")]
    asked = Span(inlet.from_bar, inlet.to_bar - 1)
    one = play(pans, Character(), Span(inlet.from_bar, inlet.to_bar - 3))
    (part,) = review_sections(pans, one, asked)
    assert part.asked
    assert (part.good, part.why_not) == (False, "stopped before the end")


def test_slips_are_counted_where_they_happened(pans: Arrangement) -> None:
    character = Character(slips=SlipShares(neighbour=0.02, left_out=0.02))
    whole = Span(0, len(pans.bars) - 1)
    performance = perform_with_truth(pans, character, np.random.default_rng(3), span=whole)
    recording = pair_notes(list(performance.events))
    (one,) = review_take(pans, recording, span=whole, hands="both").passes
    parts = review_sections(pans, one)
    made = sum(bool(t.kind) for t in performance.truth) + len(performance.missing)
    assert sum(sum(p.slips.values()) for p in parts) == pytest.approx(made, abs=2)


def test_usual_evenness_is_asked_for_and_used(pans: Arrangement) -> None:
    asked: list[tuple[str, str, float]] = []

    def usual(key: str, hands: str, share: float, fingering: str) -> float:
        asked.append((key, hands, share))
        return 0.5

    inlet = pans.form.sections[section(pans, "Inlet")]
    span = Span(inlet.from_bar, inlet.to_bar - 1)
    one = play(pans, Character(finger_sd_ms=8.0), span)
    (part,) = review_sections(pans, one, span, usual)
    assert [(key, hands) for key, hands, _ in asked] == [(section_key(pans, inlet), "both")]
    assert asked[0][2] == pytest.approx(1.0, abs=0.01)
    assert "uneven" in part.why_not
