"""Sessions made up for the window: a simulated pianist plays an exercise, the engine reviews it."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from pathlib import Path

import numpy as np

from engine.arrangement import Arrangement, Hands, Span, whole_span
from engine.follow import Follower
from engine.performance import KeyEvent, Pulse, pair_notes
from engine.read import engravable_text, read_arrangement
from engine.review import review_take, standing
from practice.engrave import EngravedScore, Engraver, PageLayout
from practice.player import CHARACTERS, Character, perform
from practice.snapshot import MapCell, PassRecord, Snapshot
from practice.window.compose import parts_for
from practice.window.desk import fitting_layout, slot_plan
from practice.window.desk_state import left_hand_ids
from practice.window.faces import use_music_font
from practice.window.page import Page
from practice.window.turning import open_slots
from practice.window.view import Preferences, View

ROOT = Path(__file__).resolve().parents[2]
#: Kept between runs, so that a test does not engrave what was engraved before.
CACHE = Path(tempfile.gettempdir()) / "undersong-window-tests"
MINIATURE = "salt-pans-night-shift"


@cache
def read_exercise(name: str = MINIATURE) -> Arrangement:
    """A shipped exercise."""
    return read_arrangement(exercise_path(name))


def exercise_path(name: str = MINIATURE) -> Path:
    return ROOT / "exercises" / f"{name}.musicxml"


def prepare_fonts() -> None:
    use_music_font(CACHE)


@lru_cache(maxsize=32)
def engraved(path: Path, layout: PageLayout) -> EngravedScore:
    """A score's pages, from the cache or made now."""
    engraver = Engraver(CACHE)
    arrangement = read_arrangement(path)
    engraver.ask(engravable_text(path), left_hand_ids(arrangement), layout)
    score = engraver.wait()
    engraver.close()
    assert score is not None
    assert score.done, score.trouble
    return score


@dataclass(frozen=True)
class Stage:
    """A score with everything a view of it needs."""

    path: Path
    arrangement: Arrangement

    def view(
        self, snapshot: Snapshot, size: tuple[int, int], preferences: Preferences | None = None,
        performing: bool = False, **more: object,
    ) -> View:  # fmt: skip
        """A view with its page engraved and its slots open at the place or the span."""
        prefs = preferences or Preferences()
        bare = View(snapshot, preferences=prefs, performing=performing, **more)  # type: ignore[arg-type]
        parts = parts_for(bare, size)
        page = None
        for _ in range(2):
            layout = fitting_layout(page, parts, performing)
            page = Page(self.arrangement, engraved(self.path, layout))
        assert page is not None
        count, _ = slot_plan(page, parts, performing)
        at = None
        if snapshot.place_q is not None:
            line = page.line_at(snapshot.place_q)
            at = line.index if line else None
        slots = open_slots(page.order_of_reading(snapshot.span, at), 0, count)
        heard = frozenset(
            f.score for f in snapshot.findings if f.what == "right" and f.score is not None
        )
        return replace(bare, page=page, slots=slots, heard=heard)


@cache
def stage(name: str = MINIATURE) -> Stage:
    return Stage(exercise_path(name), read_exercise(name))


def stage_of(path: Path) -> Stage:
    return Stage(path, read_arrangement(path))


def play(
    arrangement: Arrangement,
    span: Span,
    hands: Hands = "both",
    character: Character | None = None,
    seed: int = 1,
    rate: float = 1.0,
) -> list[KeyEvent]:
    """What a simulated pianist sends."""
    rng = np.random.default_rng(seed)
    return perform(
        arrangement,
        character or CHARACTERS["demo"],
        rng,
        span=span,
        hands=hands,
        start_s=1.0,
        rate=rate,
    )


def passed(
    arrangement: Arrangement,
    span: Span,
    hands: Hands = "both",
    character: Character | None = None,
    seed: int = 1,
    number: int = 1,
    rate: float = 1.0,
) -> PassRecord:
    """A finished pass, reviewed from the whole take; the same one is reviewed once."""
    key = (arrangement.content_hash, span, hands, character, seed, rate)
    if key not in _REVIEWED:
        _REVIEWED[key] = _reviewed(arrangement, span, hands, character, seed, rate)
    return replace(_REVIEWED[key], number=number, take=number)


_REVIEWED: dict[object, PassRecord] = {}


def _reviewed(
    arrangement: Arrangement,
    span: Span,
    hands: Hands,
    character: Character | None,
    seed: int,
    rate: float,
) -> PassRecord:
    recording = pair_notes(play(arrangement, span, hands, character, seed, rate))
    review = review_take(arrangement, recording, span=span, hands=hands).passes[0]
    share = review.measures.notes.right_share.value or 0.0
    good = share >= 0.97
    return PassRecord(
        number=1, take=1, span=span, hands=hands, pulse=Pulse(),
        from_q=review.played.from_q, to_q=review.played.to_q, notes=review.notes,
        pedals=review.pedals, findings=review.findings, deviations_ms=review.deviations_ms,
        slips=review.slips, measures=review.measures, good=good,
        why_not="" if good else f"{100 * share:.0f} % of the notes right",
        tempo_qpm=review.played.tempo_qpm, started="2031-03-04T18:20:00+01:00",
    )  # fmt: skip


def waiting(arrangement: Arrangement, span: Span | None = None, **changes: object) -> Snapshot:
    """Before the first note."""
    plain = Snapshot(
        version=1, arrangement=arrangement, span=span or whole_span(arrangement), hands="both",
        pulse_kind="free", rate=1.0, state="waiting", state_text="Play when you are ready",
        port="Upright", connected=True,
    )  # fmt: skip
    return replace(plain, **changes)  # type: ignore[arg-type]


def under_way(
    arrangement: Arrangement,
    span: Span,
    share: float = 0.5,
    hands: Hands = "both",
    **changes: object,
) -> Snapshot:
    """In the middle of a pass: so much of the span's notes heard, as the follower judged them."""
    events = play(arrangement, span, hands, seed=3)
    notes = pair_notes(events).notes
    notes = notes[: max(1, int(len(notes) * share))]
    follower = Follower(arrangement, span, hands)
    said = [finding for note in notes for finding in follower.hear(note)]
    findings = standing(said)
    places = [
        float(arrangement.notes[f.score].onset_q)
        for f in findings
        if f.score is not None and f.played is not None
    ]
    snapshot = waiting(
        arrangement, span, state="playing", state_text="", notes=notes, findings=findings,
        place_q=places[-1] if places else None, hands=hands,
    )  # fmt: skip
    return replace(snapshot, **changes)  # type: ignore[arg-type]


def map_cells(arrangement: Arrangement) -> tuple[MapCell, ...]:
    """Every stage somewhere."""
    stages = ("secure", "up to tempo", "steady", "reading", "unplayed")
    hands: tuple[Hands, ...] = ("right", "left", "both")
    return tuple(
        MapCell(
            k, hand, stages[min(4, (k + row) % 6)], "", "2031-03-01" if (k + row) % 3 == 0 else ""
        )
        for k in range(len(arrangement.form.sections))
        for row, hand in enumerate(hands)
    )


#: Uneven on one place, octaves apart, more slips than the demonstration.
def faulty() -> Character:
    demo = CHARACTERS["demo"]
    return replace(demo, slips=demo.slips.scaled(3.0), hesitations=0.0, restarts=0.0)
