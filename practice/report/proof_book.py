"""What the player has said of a page: remarks set aside for good, and words left while practising.

Kept in one small JSON file in the data folder, by title, so that it outlives edits of the score:
a remark is known by what its bar holds (`engine.proof.remark.bar_key`).
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from engine.errors import UndersongError
from practice.whole_file import whole_file

#: "page-wrong": the page is wrong here. "meant-that": what I played is what I meant.
What = Literal["page-wrong", "meant-that"]


@dataclass(frozen=True, slots=True)
class PageWord:
    """One thing said of a place while practising.

    Attributes:
        what: page-wrong or meant-that. bar, beat: printed number, beat as a number.
        note_id: the head it was about, "" for none. played: name of what was played, "" if none.
        when: date and time, ISO 8601.
    """

    what: What
    bar: str
    beat: float
    note_id: str = ""
    played: str = ""
    when: str = ""


class ProofBook:
    """The file, read when opened and written at each change."""

    def __init__(self, path: Path) -> None:
        """Open the book at a path; where there is no file it is empty.

        Raises:
            UndersongError: the file is there and cannot be read.
        """
        self.path = path
        self._pages: dict[str, dict[str, Any]] = {}
        try:
            if path.exists():
                self._pages = dict(json.loads(path.read_text("utf-8"))["pages"])
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise UndersongError(
                "the notes on pages cannot be read", str(path), "move the file away and try again"
            ) from error

    def set_aside(self, title: str) -> frozenset[str]:
        """Keys of the remarks set aside on a page."""
        return frozenset(self._page(title)["set_aside"])

    def put_aside(self, title: str, keys: list[str], now: datetime) -> None:
        """Set remarks aside for good."""
        page = self._page(title)
        page["set_aside"] |= {key: now.isoformat(timespec="seconds") for key in keys}
        self._write(title, page)

    def take_back(self, title: str, keys: list[str]) -> None:
        """Show remarks again that were set aside."""
        page = self._page(title)
        page["set_aside"] = {k: when for k, when in page["set_aside"].items() if k not in keys}
        self._write(title, page)

    def words(self, title: str) -> tuple[PageWord, ...]:
        """What was said of a page while practising, in order."""
        return tuple(PageWord(**word) for word in self._page(title)["words"])

    def say(self, title: str, word: PageWord) -> None:
        """Keep something said of a page."""
        page = self._page(title)
        page["words"].append(asdict(word))
        self._write(title, page)

    def unsay(self, title: str, word: PageWord) -> None:
        """Take back something said of a page."""
        page = self._page(title)
        said = asdict(word)
        page["words"] = [other for other in page["words"] if other != said]
        self._write(title, page)

    def _page(self, title: str) -> dict[str, Any]:
        page = self._pages.get(title, {})
        return {
            "set_aside": dict(page.get("set_aside", {})),
            "words": list(page.get("words", [])),
        }

    def _write(self, title: str, page: dict[str, Any]) -> None:
        pages = {**self._pages, title: page}
        text = json.dumps({"pages": pages}, ensure_ascii=False, indent=1)
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with whole_file(self.path) as part:
                part.write_text(text, encoding="utf-8")
            self._pages = pages
        except OSError as error:
            raise UndersongError(f"cannot be written ({error.strerror})", str(self.path)) from error
