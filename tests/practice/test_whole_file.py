"""A disk that fills up while a file is written: what was there before is still there."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from engine.drill import DrillSheet
from engine.errors import UndersongError
from engine.performance import KeyEvent
from practice.commands.output import write_text
from practice.drills.sheet_file import write_sheet
from practice.environment import Environment
from practice.library import open_arrangement
from practice.report.proof_book import ProofBook
from practice.report.proof_pages import write_pages
from practice.report.section_text import put_sections
from practice.settings import Settings, save_settings
from practice.store.recording import write_recording
from practice.whole_file import whole_file
from tests.full_disk import full_disk

#: Less than what is written.
ROOM_BYTES = 200
NOW = datetime(2026, 1, 1, tzinfo=UTC)
SCORES = Path(__file__).resolve().parents[1] / "fixtures" / "scores"
OLD = "# as it was\n" * 100
TABLE = '[[sections]]\nname = "Verse"\nfrom = "1"\nto = "2"\n'


def _write_text(path: Path) -> None:
    write_text(Environment(now=lambda: NOW), str(path), "new" * 1000)


def _write_recording(path: Path) -> None:
    write_recording(path, [KeyEvent(k / 10, 0.0, bytes((0x90, 60, 64))) for k in range(400)])


def _write_pdf(path: Path) -> None:
    from PIL import Image

    write_pages([Image.effect_noise((64, 64), 90)], None, str(path))


WRITERS: dict[str, Callable[[Path], None]] = {
    "sections": lambda path: put_sections(path, TABLE),
    "text": _write_text,
    "recording": _write_recording,
    "drill": lambda path: write_sheet(path, DrillSheet()),
    "pages": _write_pdf,
}


@pytest.mark.parametrize("name", WRITERS)
def test_an_older_file_outlives_a_full_disk(tmp_path: Path, name: str) -> None:
    path = tmp_path / "file.toml"
    path.write_text(OLD, encoding="utf-8")
    with full_disk(ROOM_BYTES), pytest.raises(UndersongError, match="cannot be"):
        WRITERS[name](path)
    assert path.read_text("utf-8") == OLD
    assert list(tmp_path.iterdir()) == [path], "nothing half written is left"


@pytest.mark.parametrize("name", WRITERS)
def test_where_there_is_room_it_is_written(tmp_path: Path, name: str) -> None:
    path = tmp_path / "file.toml"
    path.write_text(OLD, encoding="utf-8")
    WRITERS[name](path)
    assert path.read_bytes() != OLD.encode()
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.skipif(sys.platform == "win32", reason="links and modes are POSIX")
def test_a_link_is_followed_and_the_mode_stays(tmp_path: Path) -> None:
    real, link = tmp_path / "real", tmp_path / "link"
    real.write_text("old")
    real.chmod(0o640)
    link.symlink_to(real)
    with whole_file(link) as part:
        part.write_text("new")
    assert link.is_symlink()
    assert (real.read_text(), real.stat().st_mode & 0o777) == ("new", 0o640)


@pytest.mark.skipif(sys.platform == "win32", reason="there are no named pipes")
def test_a_pipe_is_written_to_as_it_is(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with whole_file(pipe) as part:
        assert part == pipe
    assert list(tmp_path.iterdir()) == [pipe]


def test_what_could_not_be_kept_is_not_said_to_be(tmp_path: Path) -> None:
    """Remarks set aside, settings and arrangements opened, on a disk that is full."""
    book = ProofBook(tmp_path / "pages.json")
    book.put_aside("Study", ["a" * 12], NOW)
    assert save_settings(tmp_path / "settings.json", Settings()) == ""
    score = SCORES / "chords.musicxml"
    before = {file: file.read_bytes() for file in tmp_path.iterdir()}
    with full_disk(100):
        with pytest.raises(UndersongError, match="cannot be written"):
            book.put_aside("Study", ["b" * 12, "c" * 12], NOW)
        said = save_settings(tmp_path / "settings.json", Settings())
        opened = open_arrangement(str(score), tmp_path / "cache")
    assert book.set_aside("Study") == {"a" * 12}
    assert "settings cannot be kept" in said
    assert opened.notes
    left = {file for file in tmp_path.rglob("*") if file.is_file()}
    assert {file: file.read_bytes() for file in left} == before, "nothing half written is left"
