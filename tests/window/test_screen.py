"""The window itself under the dummy driver: events in, commands out, the page and the score."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pygame
import pytest

from engine.arrangement import Arrangement, Span
from engine.performance import SOFT, PedalMove
from engine.read import engravable_text
from engine.read.fingering import with_fingering
from practice.progress.progress import Progress
from practice.snapshot import Command, Snapshot
from practice.window import compose
from practice.window.score_watch import changed_bars
from practice.window.screen import Screen, run_window
from tests.window.days_practised import made_up_progress
from tests.window.staging import CACHE, exercise_path, passed, read_exercise, under_way, waiting

SIZE = (1280, 800)
SHORT = "brine-pump"


class FakeListener:
    """Publishes what it is given, keeps what it is told, and follows the plain commands."""

    def __init__(self, snapshot: Snapshot) -> None:
        self.current = snapshot
        self.told: list[Command] = []

    def snapshot(self) -> Snapshot:
        return self.current

    def tell(self, command: Command) -> None:
        self.told.append(command)
        if command.kind == "arrangement":
            self.publish(arrangement=command.extra["arrangement"])
        if command.kind == "hands":
            self.publish(hands=command.hands)

    def publish(self, **changes: object) -> None:
        changed = replace(self.current, version=self.current.version + 1, **changes)  # type: ignore[arg-type]
        self.current = changed

    def kinds(self) -> list[str]:
        return [c.kind for c in self.told]


@pytest.fixture
def score(tmp_path: Path) -> Path:
    path = tmp_path / "score.musicxml"
    shutil.copy(exercise_path(SHORT), path)
    return path


@pytest.fixture
def listener() -> FakeListener:
    return FakeListener(waiting(read_exercise(SHORT)))


@pytest.fixture
def screen(listener: FakeListener, score: Path) -> Iterator[Screen]:
    settings: dict[str, object] = {}
    made = Screen(listener, settings, CACHE, score)
    made.open(SIZE)
    yield made
    made.close()
    pygame.display.init()
    pygame.display.set_mode((64, 64))


def until(screen: Screen, done: Callable[[], bool], most_s: float = 20.0) -> None:
    """Frames until something has happened."""
    give_up = time.monotonic() + most_s
    while not done():
        assert time.monotonic() < give_up, "it did not happen"
        screen.step()
        time.sleep(0.002)


def page_ready(screen: Screen) -> bool:
    return screen.view.page is not None and screen.view.page.score.done


def press(key: int, mod: int = 0) -> None:
    pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=key, mod=mod, unicode="", scancode=0))


def release(key: int) -> None:
    pygame.event.post(pygame.event.Event(pygame.KEYUP, key=key, mod=0, unicode="", scancode=0))


def test_the_page_comes_and_the_first_line_is_shown(screen: Screen):
    until(screen, lambda: page_ready(screen))
    screen.step()
    assert screen.view.slots[0] == 0


def test_a_resized_window_gets_a_page_of_its_width(screen: Screen):
    until(screen, lambda: page_ready(screen))
    before = screen.view.page.score.layout  # type: ignore[union-attr]
    pygame.display.set_mode((1920, 1080), pygame.RESIZABLE)
    pygame.event.post(pygame.event.Event(pygame.VIDEORESIZE, size=(1920, 1080), w=1920, h=1080))
    until(screen, lambda: page_ready(screen) and screen.view.page.score.layout != before)  # type: ignore[union-attr]
    layout = screen.view.page.score.layout  # type: ignore[union-attr]
    parts = screen._canvas.parts(screen.view, (1920, 1080))
    assert layout.space_px >= parts.space_px
    assert abs(layout.width_spaces * layout.space_px - parts.desk.w) < 0.1 * parts.desk.w
    for _ in range(30):  # and it stays
        screen.step()
    assert screen.view.page.score.layout == layout  # type: ignore[union-attr]


def test_letters_are_a_small_piano(screen: Screen, listener: FakeListener):
    press(pygame.K_a)
    release(pygame.K_a)
    press(pygame.K_x)
    press(pygame.K_a)
    screen.step()
    release(pygame.K_a)
    screen.step()
    notes = [(c.kind, c.pitch) for c in listener.told]
    assert notes == [("key-down", 60), ("key-up", 60), ("key-down", 72), ("key-up", 72)]


def test_a_held_letter_is_let_go_when_the_window_loses_the_keys(
    screen: Screen, listener: FakeListener
):
    press(pygame.K_s)
    screen.step()
    pygame.event.post(pygame.event.Event(pygame.WINDOWFOCUSLOST))
    screen.step()
    assert listener.kinds() == ["key-down", "key-up"]


def test_keys_act_and_escape_leaves(screen: Screen, listener: FakeListener):
    press(pygame.K_SPACE)
    press(pygame.K_F3)
    assert screen.step()
    press(pygame.K_ESCAPE)
    assert not screen.step()
    assert listener.kinds() == ["again", "hands", "quit"]


def test_a_new_pass_is_looked_at(screen: Screen, listener: FakeListener):
    arrangement = listener.current.arrangement
    record = passed(arrangement, listener.current.span)
    screen.step()
    listener.publish(state="rest", passes=(record,))
    screen.step()
    assert screen.view.looked_at == 1


def test_heard_notes_are_on_the_view_in_the_frame_after(screen: Screen, listener: FakeListener):
    until(screen, lambda: page_ready(screen))
    listener.current = under_way(listener.current.arrangement, listener.current.span, 0.2)
    screen.step()
    right = {f.score for f in listener.current.findings if f.what == "right"}
    assert screen.view.heard
    assert screen.view.heard <= right


def test_the_soft_pedal_turns_pages_only_in_the_performance_view(
    screen: Screen, listener: FakeListener
):
    until(screen, lambda: page_ready(screen))
    press(pygame.K_F5)
    until(screen, lambda: page_ready(screen) and screen.view.slots[0] is not None)
    first = screen.view.slots
    listener.publish(pedals=(PedalMove(0.0, SOFT, 127),))
    screen.step()
    assert screen.view.performing
    assert screen.view.slots != first or len(screen.view.page.lines) <= len(first)  # type: ignore[union-attr]
    assert "again" not in listener.kinds()


def test_a_saved_score_is_taken_over_and_the_changed_bar_shown(
    screen: Screen, listener: FakeListener, score: Path
):
    until(screen, lambda: page_ready(screen))
    key = screen.view.page.score.key  # type: ignore[union-attr]
    text = score.read_text("utf-8")
    changed = text.replace("<octave>4</octave>", "<octave>5</octave>", 1)
    assert changed != text
    score.write_text(changed, "utf-8")
    until(screen, lambda: "arrangement" in listener.kinds())
    assert len(screen.view.changed_bars) == 1
    assert "1 bar changed" in screen.view.note
    until(screen, lambda: page_ready(screen) and screen.view.page.score.key != key)  # type: ignore[union-attr]


def test_a_score_saved_in_pieces_is_left_alone(screen: Screen, listener: FakeListener, score: Path):
    until(screen, lambda: page_ready(screen))
    score.write_text(score.read_text("utf-8")[:400], "utf-8")
    until(screen, lambda: bool(screen.view.note))
    assert "arrangement" not in listener.kinds()
    assert screen.view.page is not None


def test_fingering_is_engraved(screen: Screen, score: Path):
    until(screen, lambda: page_ready(screen))
    key = screen.view.page.score.key  # type: ignore[union-attr]
    press(pygame.K_F10)
    press(pygame.K_2)
    until(screen, lambda: page_ready(screen) and screen.view.page.score.key != key)  # type: ignore[union-attr]
    note = screen.view.snapshot.arrangement.notes[0]
    assert screen._fingered == {note.note_id: "2"}


def test_what_was_kept_is_confirmed_until_the_state_changes(screen: Screen, listener: FakeListener):
    screen.step()
    listener.publish(said="Kept for the proof: bar 3, the page is wrong here")
    screen.step()
    assert screen.view.note.startswith("Kept for the proof: bar 3")
    listener.publish(state="playing")
    screen.step()
    assert screen.view.note == ""


def test_with_fingering_writes_well_formed_musicxml():
    from xml.etree import ElementTree

    text = engravable_text(exercise_path(SHORT))
    notes = read_exercise(SHORT).notes
    first, second = notes[0].note_id, notes[5].note_id
    done = with_fingering(text, {first: "4", second: ""})
    root = ElementTree.fromstring(done)
    found = {n.get("id"): n.find(".//fingering") for n in root.iter("note")}
    assert found[first] is not None
    assert found[first].text == "4"
    assert found[second] is None


def test_bars_that_changed():
    before = read_exercise(SHORT)
    notes = list(before.notes)
    notes[7] = replace(notes[7], pitch=notes[7].pitch + 1)
    after = replace(before, notes=tuple(notes))
    assert changed_bars(before, after) == {before.bars[notes[7].bar].written}
    assert changed_bars(before, before) == frozenset()


def test_a_part_that_cannot_be_drawn_is_told_and_all_else_goes_on(
    screen: Screen, listener: FakeListener, monkeypatch: pytest.MonkeyPatch
):
    def fail(*_: object) -> list[object]:
        raise ZeroDivisionError("no")

    until(screen, lambda: page_ready(screen))
    broken = [replace(p, draw=fail) if p.name == "account" else p for p in compose.PARTS]
    monkeypatch.setattr(compose, "PARTS", tuple(broken))
    listener.publish(state="rest", passes=(passed(read_exercise(SHORT), Span(0, 7)),))
    for _ in range(4):
        assert screen.step()
    assert "account cannot be drawn" in screen.view.note
    press(pygame.K_SPACE)
    assert screen.step()
    assert "again" in listener.kinds()


def test_progress_is_read_beside_the_frames(screen: Screen, listener: FakeListener):
    made = made_up_progress(listener.current.arrangement)
    asked = threading.Event()

    def progress_of(arrangement: Arrangement) -> Progress:
        assert asked.wait(20.0)
        return made

    screen._asides._progress_of = progress_of
    press(pygame.K_m)
    screen.step()
    assert screen.view.overlay == "progress"
    assert screen.view.progress is None
    asked.set()
    until(screen, lambda: screen.view.progress is made)


def test_progress_that_cannot_be_read_is_told(screen: Screen):
    def progress_of(arrangement: Arrangement) -> Progress:
        raise OSError("the store is gone")

    screen._asides._progress_of = progress_of
    press(pygame.K_m)
    until(screen, lambda: screen.view.progress_trouble == "the store is gone")


def test_a_window_is_never_larger_than_the_screen(screen: Screen):
    screen._settings["size"] = [99_999, 99_999]
    assert screen._last_size() == pygame.display.get_desktop_sizes()[0]


def test_what_was_said_gives_way_to_the_next_action(screen: Screen, listener: FakeListener):
    screen.step()
    listener.publish(said="Kept for the proof")
    screen.step()
    assert screen.view.note == "Kept for the proof"
    press(pygame.K_F3)
    screen.step()
    assert screen.view.note == ""


def test_settings_and_size_are_kept(listener: FakeListener, score: Path):
    settings: dict[str, object] = {}
    saved = []
    frames = iter([False] * 4 + [True])

    def stop() -> bool:
        press(pygame.K_F2)
        return next(frames)

    status = run_window(
        listener, settings, cache_dir=CACHE, score_path=score, size=(900, 600), stop=stop,
        save=lambda: saved.append(1),
    )  # fmt: skip
    pygame.display.init()
    pygame.display.set_mode((64, 64))
    assert status == 0
    assert settings["size"] == [900, 600]
    assert settings["window"]["theme"] in ("light", "dark")  # type: ignore[index]
    assert saved
