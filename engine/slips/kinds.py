"""The kinds of slips."""

from __future__ import annotations

ACCIDENTAL = "accidental missed"
NEIGHBOUR = "neighbour key"
OCTAVE = "wrong octave"
SPLIT = "octave split"
OTHER_HAND = "other hand's note"
ANTICIPATION = "anticipation"
LATE_CHANGE = "late change"
TWIN = "twin taken"
LEFT_OUT = "left out"
ADDED = "added"
DOUBLED = "doubled strike"
BRUSHED = "brushed"
UNCLEAR = "unclear"

#: Every kind, with what it means.
KINDS: dict[str, str] = {
    ACCIDENTAL: "the right letter without its sign, or with the key signature forgotten",
    NEIGHBOUR: "the key beside the right one",
    OCTAVE: "the right letter in the wrong octave",
    SPLIT: "one note of an octave missed by a key or two, the other right",
    OTHER_HAND: "a note that the other hand has at this moment",
    ANTICIPATION: "what comes next, too soon",
    LATE_CHANGE: "what came before, once too often",
    TWIN: "what the passage that begins alike has here",
    LEFT_OUT: "a written note that was not struck",
    ADDED: "a note that is not written",
    DOUBLED: "a key struck twice for one written note",
    BRUSHED: "a key touched in passing beside the right one",
    UNCLEAR: "none of these for certain",
}
