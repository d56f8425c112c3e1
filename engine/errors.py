"""The one error tree. Every message is a single line: what, where, and what to do."""

from __future__ import annotations


class UndersongError(Exception):
    """Something the user can act on.

    Args:
        what: what went wrong.
        where: the file, bar, port ... it concerns; empty if nowhere in particular.
        hint: what the user can do about it; empty if there is nothing.
    """

    def __init__(self, what: str, where: str = "", hint: str = "") -> None:
        self.what = what
        self.where = where
        self.hint = hint
        super().__init__(what, where, hint)

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}" if self.where else self.what
        text = f"{text}; {self.hint}" if self.hint else text
        return " ".join(text.split())


class ScoreError(UndersongError):
    """A score that cannot be read.

    Args:
        path: the file as the user named it.
        bar: the printed number of the bar, or "" where no bar is to blame.
        what: what is wrong.
        hint: what the user can do.
    """

    def __init__(self, path: str, bar: str, what: str, hint: str = "") -> None:
        self.path = path
        self.bar = bar
        super().__init__(what, f"{path}, bar {bar}" if bar else path, hint)
        # Exception.__reduce__ calls the class with args; keep errors picklable.
        self.args = (path, bar, what, hint)


class TakeError(UndersongError):
    """A recording that cannot be read."""


class SpanError(UndersongError):
    """A span, section or hand that the arrangement does not have."""
