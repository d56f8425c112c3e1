"""Why a key has nothing to act on just now, in a line. Pure."""

from __future__ import annotations

from practice.window.view import View

#: They speak of a pass that is over.
_OF_A_PASS = ("hear-again", "page-wrong", "meant-that", "unsay", "span-slip", "pass-before",
              "pass-after", "average")  # fmt: skip
#: While a pass is under way the page is quiet: these wait for its end.
_AFTERWARDS = ("hear-again", "page-wrong", "meant-that", "unsay")
#: In a window to listen in nothing is played by the player, so these have no meaning there.
_ONLY_PLAYING = ("pulse", "drills", "next", "keep", *_OF_A_PASS)
#: What a kept take is not: it sounds as it was played.
_OF_THE_PAGE = ("slower", "faster", "hands", "span-left", "span-right", "span-shorter",
                "span-longer", "span-all")  # fmt: skip


def why_not(view: View, action: str) -> str:
    """A line where the action can do nothing in this state; "" where it can, or tells itself."""
    snapshot = view.snapshot
    if snapshot.only_heard:
        if action in _ONLY_PLAYING:
            return "Here you listen: undersong play is for practising"
        if action in _OF_THE_PAGE and snapshot.pulse_kind == "free":
            return "A kept take sounds as it was played"
        return ""
    if view.playing and action in _AFTERWARDS:
        return "Once the pass is over: enter ends it now"
    if action in _OF_A_PASS and view.told is None:
        return "No pass yet: play one first"
    if action == "stop" and snapshot.state in ("waiting", "no-keyboard"):
        return "Nothing is under way"
    if action == "peek" and not snapshot.from_memory:
        return "Nothing is hidden: a drill from memory hides the page"
    return ""
