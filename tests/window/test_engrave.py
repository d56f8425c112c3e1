"""The engraver: another process, a cache on disk, and its death survived."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import pytest

from engine.read import engravable_text
from practice import engrave
from practice.engrave import EngravedScore, Engraver, PageLayout
from practice.engraving.svg import UNITS_PER_SPACE, enlarge_bar_numbers, parse_svg
from practice.engraving.system import as_json, from_json
from practice.engraving.worker import ENGRAVER_OPTIONS, part_tempo_words
from practice.window.parts import SMALLEST_SPACE_PX, SMALLEST_TEXT_PX
from tests.window.staging import CACHE, exercise_path

LAYOUT = PageLayout(120, 7)


@pytest.fixture
def text() -> str:
    return engravable_text(exercise_path("brine-pump"))


@pytest.fixture
def cache(tmp_path: Path) -> Path:
    (tmp_path / "fonts").mkdir()
    for font in (CACHE / "fonts").iterdir():  # making it takes a while; it is not what is tested
        (tmp_path / "fonts" / font.name).write_bytes(font.read_bytes())
    return tmp_path


def finish(engraver: Engraver) -> EngravedScore:
    score = engraver.wait()
    engraver.close()
    assert score is not None
    return score


def test_pages_come_from_another_process_and_are_kept(text: str, cache: Path):
    before = set(sys.modules)
    engraver = Engraver(cache)
    engraver.ask(text, ["n1"], LAYOUT)
    score = finish(engraver)
    assert score.done
    # both hold the interpreter lock while they work: never in this process
    assert not {"verovio", "resvg_py"} & (set(sys.modules) - before)
    again = Engraver(cache)
    again.ask(text, ["n1"], LAYOUT)
    assert not again._processes  # from disk
    assert finish(again).systems == score.systems


def test_a_tempo_word_and_its_metronome_mark_are_set_apart():
    text = (
        '<direction-type><words font-weight="bold">Still</words></direction-type>'
        "<direction-type><metronome/></direction-type><words>dolce</words>"
    )
    assert part_tempo_words(text).count("Still\u00a0\u00a0</words>") == 1
    assert "dolce</words>" in part_tempo_words(text)


def test_engraved_text_is_fourteen_pixels_or_more_where_a_space_has_seven(text: str):
    import verovio

    toolkit = verovio.toolkit()
    toolkit.setOptions({**ENGRAVER_OPTIONS, "pageWidth": 1600})
    assert toolkit.loadData(text)
    sizes: set[float] = set()
    for page in range(toolkit.getPageCount()):
        root = parse_svg(toolkit.renderToSVG(page + 1))
        enlarge_bar_numbers(root)
        sizes |= {
            float(e.get("font-size", "0px").removesuffix("px"))
            for e in root.iter() if (e.text or "").strip() and e.get("font-size")
        }  # fmt: skip
    assert len(sizes) > 1
    assert min(sizes) / UNITS_PER_SPACE * SMALLEST_SPACE_PX >= SMALLEST_TEXT_PX


def test_another_layout_or_hand_is_another_page(text: str, cache: Path):
    engraver = Engraver(cache)
    keys = {
        engraver.ask(text, ["n1"], LAYOUT),
        engraver.ask(text, ["n2"], LAYOUT),
        engraver.ask(text, ["n1"], PageLayout(120, 8)),
        engraver.ask(text + " ", ["n1"], LAYOUT),
    }
    engraver.close()
    assert len(keys) == 4


def test_a_killed_engraver_is_started_once_more(text: str, cache: Path):
    engraver = Engraver(cache)
    engraver.ask(text, [], LAYOUT)
    for process in engraver._processes:
        process.kill()
    score = finish(engraver)
    assert score.done
    assert score.trouble == ""


def test_an_engraver_that_always_dies_is_told_in_one_line(
    text: str, cache: Path, monkeypatch: pytest.MonkeyPatch
):
    start = engrave._start_process

    def start_and_kill() -> object:
        process = start()
        process.kill()
        return process

    monkeypatch.setattr(engrave, "_start_process", start_and_kill)
    engraver = Engraver(cache)
    engraver.ask(text, [], LAYOUT)
    score = finish(engraver)
    assert not score.done
    assert "stopped twice" in score.trouble
    assert "\n" not in score.trouble


def test_what_cannot_be_engraved_is_told_in_one_line(cache: Path):
    engraver = Engraver(cache)
    engraver.ask("<score-partwise/>", [], LAYOUT)
    score = finish(engraver)
    assert score.trouble
    assert "\n" not in score.trouble


def test_damaged_kept_pages_are_thrown_away(text: str, cache: Path):
    engraver = Engraver(cache)
    engraver.ask(text, [], LAYOUT)
    folder = finish(engraver).folder
    (folder / "000.json").write_text("{", "utf-8")
    again = Engraver(cache)
    again.ask(text, [], LAYOUT)
    assert finish(again).trouble
    assert not (folder / "done.json").exists()
    once_more = Engraver(cache)
    once_more.ask(text, [], LAYOUT)
    assert finish(once_more).done


def test_a_new_job_replaces_the_old(text: str, cache: Path):
    engraver = Engraver(cache)
    engraver.ask(text, [], LAYOUT)
    engraver.ask(text, [], PageLayout(90, 7))
    score = finish(engraver)
    assert score.layout == PageLayout(90, 7)
    assert score.done


def test_systems_are_shown_as_they_come(text: str, cache: Path):
    engraver = Engraver(cache)
    engraver.ask(text, [], PageLayout(60, 7))
    counts = []
    give_up = time.monotonic() + 30
    while engraver.score and not engraver.score.done and time.monotonic() < give_up:
        came = engraver.poll()
        if came is not None:
            counts.append(len(came.systems))
        time.sleep(0.001)
    engraver.close()
    assert counts == sorted(counts)
    assert engraver.score
    assert engraver.score.done


def test_positions_survive_the_disk(text: str, cache: Path):
    engraver = Engraver(cache)
    engraver.ask(text, [], LAYOUT)
    for system in finish(engraver).systems:
        assert from_json(json.loads(json.dumps(as_json(system)))) == system
