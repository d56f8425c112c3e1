"""Names of MIDI ports: compared, chosen, without a driver in sight.

Drivers put numbers that change from one plugging-in to the next into the names: ALSA its client
and port ("... 20:0"), the bridge to JACK its client ("[20]"), Windows a running index at the end.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

#: Our own clients; never offered as a keyboard.
OWN_CLIENT = "Undersong"

_CHANGING = (
    re.compile(r"\s+\d+:\d+\s*$"),
    re.compile(r"\s*\[\d+\]"),
    re.compile(r"\s*\(\d+\)\s*$"),
)
_WINDOWS_INDEX = re.compile(r"\s+\d+\s*$")
#: Ports that carry no keyboard of their own: taken only when asked for by name.
_PASSAGES = re.compile(r"midi through|midi thru|\bthrough port\b", re.IGNORECASE)


def lasting_name(name: str, windows: bool = False) -> str:
    """The part of a port's name that stays the same: what the keyboard is called."""
    for pattern in _CHANGING:
        name = pattern.sub("", name)
    if windows:
        name = _WINDOWS_INDEX.sub("", name)
    return " ".join(name.split())


def normalise_name(name: str, windows: bool = False) -> str:
    """The same in one case, to compare by."""
    return lasting_name(name, windows).casefold()


def is_own(name: str) -> bool:
    """The port is one of this program's."""
    return OWN_CLIENT.casefold() in name.casefold()


def is_passage(name: str) -> bool:
    """The port only passes on what other programs send."""
    return bool(_PASSAGES.search(name))


def others_of(names: Iterable[str]) -> list[str]:
    """The names without our own."""
    return [name for name in names if not is_own(name)]


def choose_name(
    names: Sequence[str], wanted: str = "", remembered: str = "", windows: bool = False
) -> str | None:
    """The port to open.

    Args:
        names: as the driver lists them.
        wanted: what the player asked for, a part of the name; nothing else will do.
        remembered: the port used last; taken before others if it is there.
        windows: names end in a running index.

    Returns:
        One of `names`, or None.
    """
    names = others_of(names)
    if wanted:
        return _match(names, wanted, windows)
    same = [n for n in names if remembered and _same(n, remembered, windows)]
    real = [n for n in names if not is_passage(n)]
    return next(iter([*same, *real]), None)


class PortSeen:
    """A port that is open, among the names the driver lists.

    Args:
        name: its own. names: all of them when it was opened. windows: names end in an index.
    """

    def __init__(self, name: str, names: Sequence[str], windows: bool) -> None:
        self._name, self._windows = name, windows
        self._alike = self._count_alike(names)

    def is_there(self, names: Sequence[str]) -> bool:
        """The very port that is open, not its twin of the same name: where the system numbers
        them, that carries another number; where it does not, one fewer may be ours."""
        before, self._alike = self._alike, self._count_alike(names)
        return self._alike >= max(before, 1)

    def _count_alike(self, names: Sequence[str]) -> int:
        """Ports that cannot be told from it. Windows numbers all of them anew when one goes."""
        if not self._windows:
            return list(names).count(self._name)
        return sum(_same(name, self._name, True) for name in names)


def _match(names: Sequence[str], wanted: str, windows: bool) -> str | None:
    exact = [n for n in names if n == wanted]
    same = [n for n in names if _same(n, wanted, windows)]
    part = [n for n in names if wanted.casefold() in n.casefold()]
    return next(iter([*exact, *same, *part]), None)


def _same(one: str, other: str, windows: bool) -> bool:
    return normalise_name(one, windows) == normalise_name(other, windows)
