"""Mutation testing: are the tests strict enough to notice one changed sign?

Run as `python -m tests.bench.mutate engine/measure tests/measure [COUNT [SEED]]`. A copy of the
project is made; in it one operator, comparison, constant or condition at a time is changed,
drawn by a fixed seed over all modules of the folder, and the tests named are run until one fails. A
change that none notices has survived, and is printed. Sampling, not exhaustion: the share
caught is printed with its 95 % interval (Wilson).
"""

from __future__ import annotations

import ast
import os
import resource
import shutil
import signal
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from engine.measure.interval import share_of

ROOT = Path(__file__).resolve().parents[2]
COUNT, SEED, SECONDS = 150, 1, 120
COPIED = ("engine", "practice", "tests", "exercises", "pyproject.toml")
COMPARED = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
            ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn}  # fmt: skip
COUNTED = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
           ast.Pow: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.BitAnd: ast.BitOr,
           ast.BitOr: ast.BitAnd}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One change: where, what it is in words, and the whole module with it."""

    path: Path
    line: int
    words: str
    source: str


def changes_of(folder: Path) -> list[tuple[Path, int]]:
    """Every single change: the module and the change's number in it."""
    out = []
    for path in sorted(folder.rglob("*.py")):
        count = sum(1 for _ in _changes(ast.parse(path.read_text())))
        out += [(path, k) for k in range(count)]
    return out


def make(path: Path, number: int) -> Mutant:
    """The module with that change made."""
    tree = ast.parse(path.read_text())
    node, words = list(_changes(tree, number))[number]
    return Mutant(path, node.lineno, words, ast.unparse(tree))


def _changes(tree: ast.Module, apply: int = -1) -> Iterator[tuple[ast.expr, str]]:
    """(node, words) of each possible change, in order; the one numbered `apply` is made."""
    number = 0
    for node in _expressions(tree):
        for words, change in _kinds(node):
            if number == apply:
                change()
            yield node, words
            number += 1


def _expressions(tree: ast.Module) -> Iterator[ast.expr]:
    """Expressions that compute: no annotation, no decorator, no docstring."""
    skipped: set[ast.AST] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.AnnAssign):
            skipped.add(node.annotation)
        elif isinstance(node, ast.FunctionDef):
            skipped.update(node.decorator_list, [node.returns] if node.returns else [])
            skipped.update(a.annotation for a in node.args.args if a.annotation)
        elif isinstance(node, ast.ClassDef):
            skipped.update(node.decorator_list)

    def walk(node: ast.AST) -> Iterator[ast.expr]:
        if node in skipped:
            return
        if isinstance(node, ast.expr):
            yield node
        for child in ast.iter_child_nodes(node):
            yield from walk(child)

    yield from walk(tree)


def _kinds(node: ast.expr):
    """The changes one expression allows."""
    if isinstance(node, ast.Compare) and type(node.ops[0]) in COMPARED:
        new = COMPARED[type(node.ops[0])]
        yield (
            f"{type(node.ops[0]).__name__} to {new.__name__}",
            lambda: node.ops.__setitem__(0, new()),
        )
    if isinstance(node, ast.BinOp) and type(node.op) in COUNTED:
        other = COUNTED[type(node.op)]
        yield f"{type(node.op).__name__} to {other.__name__}", lambda: setattr(node, "op", other())
    if isinstance(node, ast.BoolOp):
        turned = ast.Or if isinstance(node.op, ast.And) else ast.And
        yield f"to {turned.__name__}", lambda: setattr(node, "op", turned())
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        yield "minus dropped", lambda: setattr(node, "op", ast.UAdd())
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Invert):
        yield "inversion dropped", lambda: setattr(node, "op", ast.UAdd())
    if isinstance(node, ast.Constant) and type(node.value) in (int, float, bool):
        value = node.value
        changed = (not value) if isinstance(value, bool) else value * 1.5 + 1
        changed = int(changed) if type(value) is int else changed
        yield f"{value} to {changed}", lambda: setattr(node, "value", changed)


def caught(mutant: Mutant, copy: Path, tests: list[str]) -> bool:
    """Whether a test fails, or hangs, with the change made in the copy."""
    target = copy / mutant.path.relative_to(ROOT)
    original = target.read_text()
    target.write_text(mutant.source)
    try:
        child = os.fork()
        if child == 0:
            _run_tests(copy, tests)
        return _ended_badly(child)
    finally:
        target.write_text(original)


def _run_tests(copy: Path, tests: list[str]) -> None:
    """In the child: the tests against the copy, then out."""
    with open(os.devnull, "w") as nothing:
        os.dup2(nothing.fileno(), 1)
        os.dup2(nothing.fileno(), 2)
    os.chdir(copy)
    sys.path[:] = [str(copy), *(p for p in sys.path if Path(p or ".").resolve() != ROOT)]
    for name in [n for n in sys.modules if n.split(".")[0] in ("engine", "practice", "tests")]:
        del sys.modules[name]
    sys.dont_write_bytecode = True
    # Counted in the process's own time, so that a busy machine catches nothing by itself.
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    signal.alarm(20 * SECONDS)
    options = ["-x", "-q", "-p", "no:cacheprovider", "--rootdir", str(copy)]
    os._exit(int(pytest.main([*options, *tests])))


def _ended_badly(child: int) -> bool:
    _, status = os.waitpid(child, 0)
    return not (os.WIFEXITED(status) and os.WEXITSTATUS(status) == 0)


def main(argv: list[str]) -> int:
    """Draw, change, run, count."""
    folder, tests = ROOT / argv[0], argv[1].split(",")
    count = int(argv[2]) if len(argv) > 2 else COUNT
    seed = int(argv[3]) if len(argv) > 3 else SEED
    every = changes_of(folder)
    picked = np.random.default_rng(seed).permutation(len(every))[:count]
    made = [make(*every[int(k)]) for k in picked]
    with tempfile.TemporaryDirectory() as place:
        copy = Path(place)
        for name in COPIED:
            whole = ROOT / name
            shutil.copytree(whole, copy / name) if whole.is_dir() else shutil.copy(whole, copy)
        unchanged = replace(made[0], source=made[0].path.read_text())
        if caught(unchanged, copy, tests):
            print("the tests fail with nothing changed", file=sys.stderr)
            return 1
        hits = 0
        for done, mutant in enumerate(made, 1):
            hit = caught(mutant, copy, tests)
            hits += hit
            if not hit:
                where = mutant.path.relative_to(ROOT)
                print(f"survived {where}:{mutant.line} {mutant.words}", flush=True)
            if done % 10 == 0:
                print(f"{hits} of the first {done} caught", file=sys.stderr, flush=True)
    share = share_of(hits, len(picked), "changes")
    print(f"{hits} of {len(picked)} changes caught ({len(every)} possible): {share.value:.3f} "
          f"({share.low:.3f} to {share.high:.3f})")  # fmt: skip
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
