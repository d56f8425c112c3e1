"""The kinds of slips, and how common each is before anything is known of the note."""

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

#: How often each kind happens to a note that allows it, as a share of the notes. Rounded from
#: common practice, no measurement: only their proportions matter, and a player's own counts may
#: take their place. A twin is taken at a parting, where little else is as likely.
PRIORS: dict[str, float] = {
    ACCIDENTAL: 0.004,
    NEIGHBOUR: 0.004,
    OCTAVE: 0.001,
    SPLIT: 0.004,
    OTHER_HAND: 0.0005,
    ANTICIPATION: 0.001,
    LATE_CHANGE: 0.001,
    TWIN: 0.02,
    ADDED: 0.003,
    DOUBLED: 0.001,
    BRUSHED: 0.001,
    UNCLEAR: 0.0005,
}
