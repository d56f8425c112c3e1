"""Dependencies: used, declared, pinned."""

from __future__ import annotations

import importlib.util

import pytest

from tests.trust import licences, supply


def test_dependencies_are_used_declared_and_pinned():
    for verdict in supply.check_supply():
        assert verdict.passed, verdict


@pytest.mark.parametrize(("through", "by"), supply.USED_THROUGH.items())
def test_what_is_used_through_a_library_is_used_there(through: str, by: str):
    spec = importlib.util.find_spec(by)
    assert spec is not None
    assert spec.origin is not None
    with open(spec.origin, encoding="utf-8") as source:
        assert through in supply.modules_in(source.read())


def test_imports_are_found_wherever_they_stand():
    source = "def f():\n    import a.b\n    from c.d import e\n    from . import g\n"
    assert supply.modules_in(source) == {"a", "c"}


def test_an_unused_dependency_would_be_found(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(supply, "declared", lambda: {"numpy", "left-over"})
    assert supply.unused() == {"left-over"}
    assert "pygame" in supply.undeclared()


def test_the_licence_of_each_dependency_is_in_the_table():
    table = licences.table_in(licences.PAGE)
    named = {line.split("|")[1].split()[0] for line in table.splitlines()[2:]}
    assert supply.declared() <= named <= supply.needed() | supply.pinned()
    assert "not stated" not in table
