"""The licences of what running the program needs, as each distribution states its own.

usage: python -m tests.trust.licences [--write]; with --write the table in DEVELOPERS.md is renewed
"""

from __future__ import annotations

import argparse
import re
import sys
import tomllib
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement

from tests.trust.supply import ROOT, declared, with_theirs

PAGE = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- licences -->", "<!-- end of licences -->"
_CLASSIFIER = "License :: OSI Approved :: "


#: Openings of licence texts, for a distribution that names none but brings its text along.
_TEXTS = {"Permission is hereby granted, free of charge, to any person": "MIT (by its text)"}


def licence_of(name: str) -> str:
    """What the distribution says: an SPDX expression, else classifiers, a short text, the file."""
    told = metadata.metadata(name)
    classifiers = told.get_all("Classifier") or []
    classified = [c.removeprefix(_CLASSIFIER) for c in classifiers if c.startswith(_CLASSIFIER)]
    text = (told.get("License") or "").strip()
    short = text if text and len(text) < 40 and "\n" not in text else ""
    named = told.get("License-Expression") or ", ".join(sorted(classified)) or short
    return named or _by_its_text(name)


def _by_its_text(name: str) -> str:
    files = [f for f in metadata.files(name) or () if "LICEN" in f.name.upper()]
    text = " ".join(" ".join(f.read_text("utf-8") for f in files).split())
    return next((said for opening, said in _TEXTS.items() if opening in text), "not stated")


def needed_to_run() -> list[str]:
    """Distributions that running pulls in, as installed here."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    return sorted(with_theirs(Requirement(line) for line in project["dependencies"]))


def licence_table() -> str:
    """In Markdown; what is declared first by name, and what that needs marked so."""
    rows = ["| distribution | licence |", "| --- | --- |"]
    for name in needed_to_run():
        through = "" if name in declared() else " (through another)"
        rows.append(f"| {name}{through} | {licence_of(name)} |")
    return "\n".join(rows)


def table_in(page: Path) -> str:
    """The table as it stands in the page."""
    found = re.search(f"{BEGIN}\n(.*?)\n{END}", page.read_text("utf-8"), re.DOTALL)
    return found.group(1) if found else ""


def main() -> int:
    """Print, or write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true")
    if parser.parse_args().write:
        text = PAGE.read_text("utf-8")
        new = f"{BEGIN}\n{licence_table()}\n{END}"
        PAGE.write_text(re.sub(f"{BEGIN}.*?{END}", lambda _: new, text, flags=re.DOTALL), "utf-8")
    else:
        print(licence_table())
    return 0


if __name__ == "__main__":
    sys.exit(main())
