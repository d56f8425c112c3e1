"""All that a command needs of the world around it: a test can hand in another."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import IntEnum
from pathlib import Path
from typing import TextIO

from practice.clock import Clock, SystemClock


class ExitStatus(IntEnum):
    """What the command tells the shell."""

    DONE = 0
    #: the thing asked for failed
    FAILED = 1
    #: the command was put wrongly
    WRONG_USE = 2


def wall_clock_now() -> datetime:
    """Now, with the local offset from UTC."""
    return datetime.now().astimezone()


@dataclass(frozen=True)
class Environment:
    """Streams, variables and clocks. Times of day carry their offset from UTC."""

    stdin: TextIO = field(default_factory=lambda: sys.stdin)
    stdout: TextIO = field(default_factory=lambda: sys.stdout)
    stderr: TextIO = field(default_factory=lambda: sys.stderr)
    variables: Mapping[str, str] = field(default_factory=lambda: dict(os.environ))
    clock: Clock = field(default_factory=SystemClock)
    now: Callable[[], datetime] = wall_clock_now

    def say(self, text: str = "") -> None:
        """A line for the player."""
        print(text, file=self.stdout, flush=True)

    def warn(self, text: str) -> None:
        """A line on standard error: something to know that stops nothing."""
        print(text, file=self.stderr, flush=True)


@dataclass(frozen=True, slots=True)
class Places:
    """The folders the program may write to."""

    data: Path
    cache: Path

    @property
    def store(self) -> Path:
        """The take store's file."""
        return self.data / "takes.db"

    @property
    def settings(self) -> Path:
        """The settings file."""
        return self.data / "settings.json"

    @property
    def instruments(self) -> Path:
        """The file of calibrated keyboards."""
        return self.data / "instruments.json"


def find_places(named: str | None, variables: Mapping[str, str]) -> Places:
    """The folders in use: `--data`, else UNDERSONG_DATA, else the platform's own."""
    chosen = named or variables.get("UNDERSONG_DATA")
    if chosen:
        data = Path(chosen).expanduser()
        return Places(data, data / "cache")
    import platformdirs

    return Places(
        Path(platformdirs.user_data_dir("undersong", appauthor=False)),
        Path(platformdirs.user_cache_dir("undersong", appauthor=False)),
    )
