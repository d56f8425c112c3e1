"""Writes under watch; the watch itself is tried on a write elsewhere."""

from __future__ import annotations

from pathlib import Path

from tests.trust.writes import watch_writes, write_only_where_named


def test_nothing_is_written_elsewhere():
    verdict = write_only_where_named()
    assert verdict.passed, verdict


def test_the_watch_sees_what_is_written(tmp_path: Path):
    made, kept = tmp_path / "made", tmp_path / "kept.db"
    code = f"import os, sqlite3; os.mkdir({str(made)!r}); sqlite3.connect({str(kept)!r})\n"
    code += f"open({str(made / 'a.txt')!r}, 'w').close(); open(__import__('os').devnull).close()"
    status, writes, said = watch_writes(tmp_path, ["-c", code])
    assert status == 0, said
    assert [w for w in writes if w[1].startswith((str(made), str(kept)))] == [
        ("os.mkdir", str(made)),
        ("sqlite3.connect", str(kept)),
        ("open", str(made / "a.txt")),
    ]
