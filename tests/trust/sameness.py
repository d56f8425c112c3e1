"""The same take reviewed in other surroundings gives the same JSON, byte for byte."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from engine.read import read_arrangement
from practice.player import CHARACTERS, perform
from practice.store.recording import write_recording
from tests.trust.verdict import Verdict

ROOT = Path(__file__).resolve().parents[2]
PAGES = ("brine-pump", "evaporation", "two-sluices", "salt-pans-night-shift")
WHO = ("steady", "demo", "hurried", "rummaging")
#: The command in a process that has taken the locale up, on another day.
RUN = """
import locale, os, sys
from datetime import UTC, datetime, timedelta
if os.environ.get("TAKEN_UP"):
    locale.setlocale(locale.LC_ALL, os.environ["TAKEN_UP"])
from practice.cli import main
from practice.environment import Environment
later = timedelta(days=float(os.environ.get("DAYS_LATER", "0")))
sys.exit(main(sys.argv[1:], Environment(now=lambda: datetime.now(UTC) + later)))
"""
FEATURES = (
    "from numpy._core._multiarray_umath import __cpu_dispatch__ as d, __cpu_features__ as f;"
    "print(' '.join(x for x in d if f.get(x)))"
)


@dataclass(frozen=True)
class Surroundings:
    """Where it is reviewed: the interpreter and what its environment says."""

    name: str
    python: str = sys.executable
    variables: Mapping[str, str] = field(default_factory=dict)


@cache
def processor_features() -> str:
    """What numpy would use of this processor and can be told not to."""
    told = subprocess.run([sys.executable, "-c", FEATURES], capture_output=True, text=True)
    return told.stdout.strip()


def make_locale(name: str, folder: Path) -> Mapping[str, str]:
    """A locale that need not be installed here; nothing where none can be made."""
    if shutil.which("localedef") is None:
        return {}
    full = f"{name}.UTF-8"
    command = ["localedef", "-i", name, "-f", "UTF-8", str(folder / full)]
    subprocess.run(command, capture_output=True, check=False)
    made = (folder / full).is_dir()
    return {"LOCPATH": str(folder), "TAKEN_UP": full, "LC_ALL": full} if made else {}


def surroundings(folder: Path, other_pythons: tuple[str, ...] = ()) -> Iterator[Surroundings]:
    """All that can be had here."""
    yield Surroundings("another hash seed", variables={"PYTHONHASHSEED": "4242"})
    yield Surroundings(
        "another day and zone", variables={"TZ": "Pacific/Kiritimati", "DAYS_LATER": "97.3"}
    )
    if features := processor_features():
        yield Surroundings(
            "no processor features", variables={"NPY_DISABLE_CPU_FEATURES": features}
        )
    for name, what in (("de_DE", "decimal commas"), ("tr_TR", "Turkish case")):
        if variables := make_locale(name, folder):
            yield Surroundings(what, variables=variables)
    for python in other_pythons:
        yield Surroundings(f"another Python, {python}", python)


def review(where: Surroundings, page: str, take: Path, data: Path) -> str:
    """What the command says as JSON there; its complaint where it fails."""
    score = ROOT / "exercises" / f"{page}.musicxml"
    command = [where.python, "-W", "ignore", "-c", RUN, "review", str(score), str(take)]
    done = subprocess.run(
        [*command, "--json", "-", "--data", str(data)], capture_output=True, cwd=ROOT,
        env={**os.environ, "PYTHONHASHSEED": "0", **where.variables},
    )  # fmt: skip
    if done.returncode:
        return f"status {done.returncode}: " + done.stderr.decode("utf-8", "replace")[-200:]
    return done.stdout.decode("utf-8")


def review_everywhere(
    seeds: int, other_pythons: tuple[str, ...] = (), pages: tuple[str, ...] = PAGES
) -> list[Verdict]:
    """Takes of each page by each pianist, `seeds` of each, in all surroundings."""
    with TemporaryDirectory() as folder:
        places = list(surroundings(Path(folder), other_pythons))
        same, first = dict.fromkeys((p.name for p in places), 0), dict[str, str]()
        takes = list(_takes(Path(folder), seeds, pages))
        for number, (page, take) in enumerate(takes):
            plain = review(Surroundings("here"), page, take, Path(folder) / f"here-{number}")
            for place in places:
                told = review(place, page, take, Path(folder) / f"{place.name[:9]}-{number}")
                alike = told == plain and plain.startswith("{")
                same[place.name] += alike
                if not alike:
                    first.setdefault(place.name, f"{take.stem}: {_difference(plain, told)}")
    return [
        Verdict(f"the same JSON: {name}", len(takes), count, first.get(name, "nothing"))
        for name, count in same.items()
    ]


def _takes(folder: Path, seeds: int, pages: tuple[str, ...]) -> Iterator[tuple[str, Path]]:
    for page in pages:
        arrangement = read_arrangement(ROOT / "exercises" / f"{page}.musicxml")
        for who in WHO:
            for seed in range(seeds):
                take = folder / f"{page}-{who}-{seed}.mid"
                rng = np.random.default_rng(seed)
                write_recording(take, perform(arrangement, CHARACTERS[who], rng))
                yield page, take


def _difference(one: str, other: str) -> str:
    for a, b in zip(one.splitlines(), other.splitlines(), strict=False):
        if a != b:
            return f"{a.strip()} | {b.strip()}"
    return other[:200]
