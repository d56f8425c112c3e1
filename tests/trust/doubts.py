"""Takes that are not of the page: another piece, another key, a cat, silence. Nothing is scored."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from engine.arrangement import Arrangement
from engine.performance import PlayedNote, Recording, pair_notes
from engine.read import read_arrangement
from engine.recognition import move_pitch
from engine.result import result_json
from engine.review import review_take
from practice.player import CHARACTERS, perform
from tests.trust.verdict import Verdict

EXERCISES = Path(__file__).resolve().parents[2] / "exercises"
CAT_S, PAW = 30.0, 9

Doubtful = tuple[Arrangement, Recording]


def doubt_all(tries: int, pages: tuple[str, ...], seed: int = 1) -> list[Verdict]:
    """Each kind of doubtful take `tries` times on each page, and the right page as a check.

    Args:
        tries: how many different performances or cats.
        pages: names of exercises.
    """
    read = [read_arrangement(EXERCISES / f"{page}.musicxml") for page in pages]
    kinds = {
        "another arrangement": _other_pages,
        "a semitone too high": _semitone_too_high,
        "a cat on the keys": _cats,
        "silence": _silences,
    }
    told = [
        _verdict(name, make(read, tries, np.random.default_rng(seed)))
        for name, make in kinds.items()
    ]
    return [*told, _right_page(read, tries, seed)]


def play(page: Arrangement, rng: np.random.Generator, character: str = "demo") -> Recording:
    """A simulated take of a page."""
    return pair_notes(perform(page, CHARACTERS[character], rng))


def walk_a_cat(rng: np.random.Generator) -> Recording:
    """Clusters under a paw, at random."""
    notes: list[PlayedNote] = []
    at_s = 0.0
    while at_s < CAT_S:
        at_s += float(rng.exponential(0.6))
        low, keys = int(rng.integers(30, 95)), int(rng.integers(2, 7))
        for key in rng.choice(PAW, keys, replace=False).tolist():
            onset_s = at_s + float(rng.uniform(0.0, 0.05))
            notes.append(
                PlayedNote(0, low + key, int(rng.integers(20, 90)), onset_s, onset_s + 0.2)
            )
    ordered = sorted(notes, key=lambda n: n.onset_s)
    return Recording(tuple(replace(n, index=i) for i, n in enumerate(ordered)), ())


def moved(take: Recording, semitones: int) -> Recording:
    """The take in another key."""
    return Recording(tuple(move_pitch(n, semitones) for n in take.notes), take.pedals)


def _other_pages(
    pages: list[Arrangement], tries: int, rng: np.random.Generator
) -> Iterator[Doubtful]:
    for page in pages:
        for other in pages:
            if other is not page:
                yield from ((page, play(other, rng)) for _ in range(tries))


def _semitone_too_high(
    pages: list[Arrangement], tries: int, rng: np.random.Generator
) -> Iterator[Doubtful]:
    for page in pages:
        yield from ((page, moved(play(page, rng), 1)) for _ in range(tries))


def _cats(pages: list[Arrangement], tries: int, rng: np.random.Generator) -> Iterator[Doubtful]:
    for page in pages:
        yield from ((page, walk_a_cat(rng)) for _ in range(tries))


def _silences(
    pages: list[Arrangement], _tries: int, _rng: np.random.Generator
) -> Iterator[Doubtful]:
    for page in pages:
        yield page, Recording((), ())


def _verdict(name: str, takes: Iterator[Doubtful]) -> Verdict:
    tried = survived = 0
    first = "nothing"
    for page, take in takes:
        tried += 1
        trouble = scored(page, take)
        survived += not trouble
        if trouble and first == "nothing":
            first = f"{page.title}: {trouble}"
    return Verdict(f"scored nothing: {name}", tried, survived, first)


def scored(page: Arrangement, take: Recording) -> str:
    """What was scored of a take that should not have been; "" if nothing."""
    result = result_json(page, review_take(page, take))
    if result["passes"]:
        return f"{len(result['passes'])} passes scored"
    if len(result["outside"]) != len(take.notes):
        return f"{len(take.notes) - len(result['outside'])} notes not told"
    return ""


def _right_page(pages: list[Arrangement], tries: int, seed: int) -> Verdict:
    """The other side: what is of the page is scored, slips and all."""
    rng = np.random.default_rng(seed)
    takes = [(page, play(page, rng, "hurried")) for page in pages for _ in range(tries)]
    scored_ones = sum(bool(review_take(page, take).passes) for page, take in takes)
    lost = len(takes) - scored_ones
    told = f"{lost} takes not scored" if lost else "nothing"
    return Verdict("scored: its own page, hurried", len(takes), scored_ones, told)
