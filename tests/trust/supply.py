"""What the program is made of: declared and used are the same, and each version is pinned."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement

from tests.trust.verdict import Verdict

ROOT = Path(__file__).resolve().parents[2]
#: What a library of ours needs for a use that we make of it, with the file that says so.
USED_THROUGH = {"brotli": "fontTools.ttLib.woff2"}
#: Extras for those who work on the program; any other is for the player.
OURS = ("test", "bench", "lint")
Names = set[str]


def plain(name: str) -> str:
    """A distribution's name as the index compares it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def declared() -> Names:
    """Distributions that pyproject names for running the program."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    return {plain(Requirement(line).name) for line in project["dependencies"]}


def offered() -> Names:
    """Distributions of the extras that add something for the player."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"].items()
    return {plain(Requirement(x).name) for name, of in extras if name not in OURS for x in of}


@cache
def imported(packages: tuple[str, ...] = ("engine", "practice")) -> dict[str, str]:
    """Top-level modules from outside that the packages import, each with one file that does."""
    own = {*sys.stdlib_module_names, "engine", "practice"}
    found: dict[str, str] = {}
    for package in packages:
        for path in sorted((ROOT / package).rglob("*.py")):
            for name in modules_in(path.read_text("utf-8")) - own:
                found.setdefault(name, str(path.relative_to(ROOT)))
    return found


def modules_in(source: str) -> Names:
    """Top-level names of all modules that a source imports absolutely, wherever in it."""
    found: Names = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module.partition(".")[0])
    return found


def unused() -> Names:
    """Declared and never imported."""
    return declared() - _distributions_of(imported()) - set(USED_THROUGH)


def undeclared() -> Names:
    """Imported and neither declared nor offered as an extra: modules."""
    of, told = _modules_of_distributions(), declared() | offered()
    missing = {m for m in imported() if not {plain(d) for d in of.get(m, ())} & told}
    return missing - {m for m in missing if m not in of and plain(m) in offered()}


@cache
def _modules_of_distributions() -> Mapping[str, list[str]]:
    return metadata.packages_distributions()


def _distributions_of(modules: Iterable[str]) -> Names:
    of = _modules_of_distributions()
    return {plain(name) for module in modules for name in of.get(module, ())}


def pinned() -> Names:
    """Distributions with a version in the lock."""
    lines = (ROOT / ".ci" / "lock.txt").read_text("utf-8").splitlines()
    pins = [Requirement(line) for line in lines if line and not line.startswith("#")]
    exact = [p for p in pins if [s.operator for s in p.specifier] == ["=="]]
    here = [p for p in exact if p.marker is None or p.marker.evaluate()]
    return {plain(p.name) for p in here}


def needed() -> Names:
    """Everything that running, testing and checking pull in, as installed here."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"]
    lines = [*project["dependencies"], *extras["test"], *extras["lint"]]
    return with_theirs(Requirement(line) for line in lines)


def with_theirs(asked: Iterable[Requirement]) -> Names:
    """What is asked for and all that it needs, as installed here."""
    todo, found = list(asked), set[str]()
    while todo:
        one = todo.pop()
        if plain(one.name) in found:
            continue
        found.add(plain(one.name))
        try:
            theirs = metadata.requires(one.name) or []
        except metadata.PackageNotFoundError:
            continue  # not installed here: what it needs cannot be told
        wanted = [Requirement(line) for line in theirs]
        todo += [w for w in wanted if w.marker is None or w.marker.evaluate({"extra": ""})]
    return found


def check_supply() -> list[Verdict]:
    """One line each: used, declared, pinned."""
    return [
        _verdict("each dependency is used", declared(), unused()),
        _verdict("each import is declared", set(imported()), undeclared()),
        _verdict("each version is pinned", needed(), needed() - pinned()),
    ]


def _verdict(name: str, all_of_them: Names, bad: Names) -> Verdict:
    told = ", ".join(sorted(bad)) or "nothing"
    return Verdict(name, len(all_of_them), len(all_of_them) - len(bad), told)
