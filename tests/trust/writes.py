"""Nothing is written outside the data folder, the cache and the outputs that were named."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.trust.verdict import Verdict

EXERCISES = Path(__file__).resolve().parents[2] / "exercises"

#: Writes a line on descriptor 9 for each file that is opened for writing, made, moved or removed,
#: here and in every Python started from here (through sitecustomize). What a library writes in C
#: is not seen.
HOOK = r"""
import os, sys

WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
CHANGING = {"os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.link", "os.symlink",
            "os.truncate", "os.chmod", "os.utime", "shutil.rmtree", "shutil.copyfile",
            "shutil.move", "sqlite3.connect", "tempfile.mkstemp", "tempfile.mkdtemp"}
LOG = os.open(os.environ["WRITES_LOG"], os.O_WRONLY | os.O_APPEND)

def note(event, args):
    if event == "open":
        path, mode, flags = args
        wants = any(c in mode for c in "wax+") if isinstance(mode, str) else flags & WRITING
        paths = [path] if wants else []
    elif event in CHANGING:
        paths = [a for a in args[:2] if isinstance(a, (str, bytes, os.PathLike))]
    else:
        return
    for path in paths:
        if isinstance(path, (str, bytes, os.PathLike)):
            told = os.path.abspath(os.fsdecode(path))
            os.write(LOG, f"{event}\t{told}\n".encode("utf-8", "surrogateescape"))

sys.addaudithook(note)
"""


def watch_writes(home: Path, arguments: Sequence[str]) -> tuple[int, list[tuple[str, str]], str]:
    """Run Python under watch.

    Args:
        home: where the home folder and the temporary folder of the command lie.
        arguments: of the interpreter.

    Returns:
        Exit status; (event, absolute path) of each write; what was said on standard error.
    """
    hooks = home / "hook"
    hooks.mkdir(exist_ok=True)
    (hooks / "sitecustomize.py").write_text(HOOK, encoding="utf-8")
    log = home / "writes.log"
    log.write_bytes(b"")
    (home / "tmp").mkdir(exist_ok=True)
    root = Path(__file__).resolve().parents[2]
    variables = {
        **os.environ,
        "PYTHONPATH": os.pathsep.join([str(hooks), str(root)]),
        "WRITES_LOG": str(log),
        "PYTHONDONTWRITEBYTECODE": "1",
        "HOME": str(home / "home"),
        "TMPDIR": str(home / "tmp"),
    }
    for name in ("XDG_DATA_HOME", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "MPLCONFIGDIR"):
        variables.pop(name, None)
    done = subprocess.run(
        [sys.executable, "-W", "ignore", *arguments],
        capture_output=True, text=True, encoding="utf-8", env=variables, cwd=root, check=False,
    )  # fmt: skip
    lines = log.read_text("utf-8", "surrogateescape").splitlines()
    return done.returncode, [(e, p) for e, _, p in (x.partition("\t") for x in lines)], done.stderr


def commands(score: Path, data: Path, out: Path) -> list[list[str]]:
    """The way from page to kept take and back, with all outputs named."""
    here = ["--data", str(data)]
    play = ["play", str(score), "--player", "demo", "--speed", "50", "--bars", "1-4"]
    return [
        [*play, "--no-window", "--json", str(out / "play.json"), *here],
        ["export", "1", str(out / "take.mid"), *here],
        ["review", str(score), str(out / "take.mid"), "--json", str(out / "r.json"), *here],
        ["proof", str(score), *here],
    ]


def write_only_where_named(score: Path = EXERCISES / "evaporation.musicxml") -> Verdict:
    """Run them all under watch."""
    with TemporaryDirectory() as folder:
        home = Path(folder).resolve()
        data, out = home / "data", home / "out"
        out.mkdir()
        runs = commands(score, data, out)
        troubles = [_trouble_of(home, run, (data, out)) for run in runs]
    first = next((t for t in troubles if t), "nothing")
    survived = sum(not t for t in troubles)
    return Verdict("writes nowhere but where named", len(runs), survived, first)


def _trouble_of(home: Path, run: list[str], allowed: Sequence[Path]) -> str:
    status, writes, said = watch_writes(home, ["-m", "practice.cli", *run])
    if status:
        return f"{run[0]} failed: {said.strip()}"
    stray = [f"{event} {path}" for event, path in writes if not _is_allowed(path, allowed)]
    return f"{run[0]} wrote elsewhere: {'; '.join(stray[:5])}" if stray else ""


def _is_allowed(path: str, allowed: Sequence[Path]) -> bool:
    if path == os.devnull:
        return True
    return any(Path(path).is_relative_to(folder) for folder in allowed)
