"""Power failures in short; the model of a disk; that a keeper which never syncs is found out."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest

from tests.trust.power import (
    SECTOR,
    Body,
    Call,
    Disk,
    fail_afterwards,
    fail_while,
    read_trace,
    record,
    why_not_recorded,
)

#: Instead of the one second: here it shall not matter how busy the machine is.
BUSY_MACHINE_S = 30.0
TRACE = r"""
7 10.5 openat(AT_FDCWD, "\x2f\x61", O_RDWR|O_CREAT, 0644) = 3
8 10.6 fdatasync(4 <unfinished ...>
7 10.7 pwrite64(3, "\x68\x69", 2, 4096) = 2
8 10.8 <... fdatasync resumed>) = 0
7 10.9 unlink("\x2f\x6e\x6f") = -1 ENOENT (No such file or directory)
7 11.0 ftruncate(3, 5) = 0
7 11.1 +++ exited with 0 +++
"""


def test_a_trace_is_read_in_the_order_in_which_calls_ended():
    assert list(read_trace(TRACE.splitlines())) == [
        Call(10.5, "openat", "/a", 3, creates=True),
        Call(10.7, "pwrite64", fd=3, data=b"hi", offset=4096),
        Call(10.8, "fdatasync", fd=4),
        Call(11.0, "ftruncate", fd=3, offset=5),
    ]


def outcomes(body: Body, tries: int = 400) -> set[bytes]:
    rng = np.random.default_rng(2)
    return {body.after_failure(rng) for _ in range(tries)}


def test_what_is_synced_stays_and_the_rest_comes_sector_by_sector():
    body = Body(since=[(0, b"a" * SECTOR)])
    body.sync()
    assert outcomes(body) == {b"a" * SECTOR}
    body.since.append((SECTOR - 1, b"b" * 2))
    a = b"a" * (SECTOR - 1)
    assert outcomes(body) == {a + b"a", a + b"b", a + b"a" + b"b", a + b"b" + b"b"}
    body.since.append((1, None))
    assert b"a" in outcomes(body)


def left_in(folder: Path, calls: Iterable[Call], into: Path) -> set[tuple[str, ...]]:
    disk, rng = Disk(folder), np.random.default_rng(3)
    for call in calls:
        disk.do(call)
    seen = set()
    for number in range(60):
        left = into / str(number)
        left.mkdir()
        disk.after_failure(rng, left)
        seen.add(tuple(sorted(p.name for p in left.iterdir())))
    return seen


def test_a_name_is_safe_once_its_folder_is_synced(tmp_path: Path):
    made = Call(1.0, "openat", f"{tmp_path}/a", 3, creates=True)
    folder = [Call(2.0, "openat", str(tmp_path), 4), Call(2.1, "fdatasync", fd=4)]
    gone = Call(3.0, "unlink", f"{tmp_path}/a")
    for number, (calls, seen) in enumerate(
        [
            ([made], {(), ("a",)}),
            ([made, *folder], {("a",)}),
            ([made, *folder, gone], {(), ("a",)}),
            ([made, *folder, gone, *folder], {()}),
        ]
    ):
        into = tmp_path / str(number)
        into.mkdir()
        assert left_in(tmp_path, calls, into) == seen


def test_when_the_power_fails_the_store_opens_and_what_was_synced_is_in_it(tmp_path: Path):
    if why := why_not_recorded():
        pytest.skip(why)
    calls = record(tmp_path, (1, 1, 120))
    verdict = fail_while(tmp_path, calls, 20, seed=4, most_s=BUSY_MACHINE_S)
    assert verdict.passed, verdict
    assert fail_afterwards(tmp_path, calls, 10) == [0.0] * 10
    unsynced = [c for c in calls if c.kind not in ("fsync", "fdatasync")]
    assert any(fail_afterwards(tmp_path, unsynced, 10))
