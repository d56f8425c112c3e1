"""Who is playing: every trait of the simulated pianist, as numbers that can be set."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Literal


@dataclass(frozen=True, slots=True)
class SlipShares:
    """The share of notes that go wrong in each way, tried for each struck note.

    A slip that a note does not allow (an accidental missed on a plain white key) does not happen
    and the note is played right, so each share is of the notes that allow it. `twin` is the share
    of partings at which a hand goes the way of a passage that begins alike.
    """

    accidental: float = 0.0
    neighbour: float = 0.0
    octave: float = 0.0
    split: float = 0.0
    other_hand: float = 0.0
    anticipation: float = 0.0
    late_change: float = 0.0
    twin: float = 0.0
    left_out: float = 0.0
    added: float = 0.0
    doubled: float = 0.0
    brushed: float = 0.0

    def __post_init__(self) -> None:
        shares = [getattr(self, f.name) for f in fields(self)]
        if min(shares) < 0 or sum(shares) > 1:
            raise ValueError(f"shares of slips must be 0 or more and sum to at most 1: {shares}")

    def scaled(self, factor: float) -> SlipShares:
        """All shares times a factor."""
        return SlipShares(**{f.name: getattr(self, f.name) * factor for f in fields(self)})


@dataclass(frozen=True, slots=True)
class Pedalling:
    """How the damper is used.

    Attributes:
        style: none; written (the page's marks); legato (changed on every downbeat).
        release_ms, press_ms: at a change, after the new harmony is struck. The defaults are a
            clean syncopated change: medians of 57,286 changes in piano performances of the
            (n)ASAP data are 55 and 213 ms for those that are syncopated.
        sd_ms: of each of these moments.
        missed: share of changes that are forgotten (the pedal stays down).
        broken_per_min: how often the foot slips up for a moment under a held pedal.
    """

    style: Literal["none", "written", "legato"] = "written"
    release_ms: float = 50.0
    press_ms: float = 200.0
    sd_ms: float = 0.0
    missed: float = 0.0
    broken_per_min: float = 0.0


@dataclass(frozen=True, slots=True)
class Character:
    """A pianist's traits. The defaults are faultless.

    Attributes:
        tempo: share of the tempo asked for.
        drift_percent_per_min: steady getting faster (positive).
        rubato, rubato_bars: sd of a slow wave in the tempo (share), and its length.
        timekeeper_sd_ms: sd of the interval the player's clock asks for; finger_sd_ms: sd of the
            delay from clock to key, per hand and onset. The interval between two onsets is
            I = C + D(now) - D(before) (Wing and Kristofferson 1973).
        correction: share of an asynchrony with the true pulse that the next interval takes back
            (0: none, the pure model above).
        level: velocity of an ordinary note; level_sd: sd per note.
        right_over: velocity of the right hand over the left; top_over: of the highest
            right-hand note over the rest of its hand.
        lead_ms: how far the right hand comes before the left.
        split_ms: per octave or chord of one hand, lowest note to highest (positive: the upper
            first); spread_sd_ms: sd of each note of it.
        hesitations: share of onsets before which the player halts; hesitation_s: how long
            (median of a log-normal, sigma 0.5).
        restarts: share of onsets after which the player stops and goes back;
            restart_bars: at most this many bars; restart_s: the pause; jumps: share of these that
            go to any bar instead.
        articulation: sounded share of the written length; overlap_ms: added to it.
        ornaments: play trills, mordents and turns out; trill_per_s: notes a second.
        roll_ms: between the notes of an arpeggiated chord.
        slips, pedalling: see there.
    """

    tempo: float = 1.0
    drift_percent_per_min: float = 0.0
    rubato: float = 0.0
    rubato_bars: float = 8.0
    timekeeper_sd_ms: float = 0.0
    finger_sd_ms: float = 0.0
    correction: float = 0.0
    level: float = 64.0
    level_sd: float = 0.0
    right_over: float = 12.0
    top_over: float = 4.0
    lead_ms: float = 0.0
    split_ms: float = 0.0
    spread_sd_ms: float = 0.0
    hesitations: float = 0.0
    hesitation_s: float = 0.7
    restarts: float = 0.0
    restart_bars: int = 2
    restart_s: float = 1.5
    jumps: float = 0.0
    articulation: float = 1.0
    overlap_ms: float = 0.0
    ornaments: bool = True
    trill_per_s: float = 11.0
    roll_ms: float = 35.0
    slips: SlipShares = field(default_factory=SlipShares)
    pedalling: Pedalling = field(default_factory=Pedalling)


_SOME_SLIPS = SlipShares(
    accidental=0.003, neighbour=0.004, octave=0.001, split=0.002, other_hand=0.0005,
    anticipation=0.001, late_change=0.001, twin=0.04, left_out=0.003, added=0.001,
    doubled=0.0005, brushed=0.002,
)  # fmt: skip

#: The characters that can be asked for by name.
CHARACTERS: dict[str, Character] = {
    "steady": Character(),
    "demo": Character(
        tempo=0.97, rubato=0.02, timekeeper_sd_ms=6.0, finger_sd_ms=5.0, level_sd=4.0,
        right_over=14.0, top_over=5.0, lead_ms=14.0, split_ms=4.0, spread_sd_ms=5.0,
        hesitations=0.0015, restarts=0.0008, articulation=0.95, overlap_ms=10.0,
        slips=_SOME_SLIPS,
        pedalling=Pedalling(sd_ms=30.0, missed=0.05, broken_per_min=0.3),
    ),
    "hurried": Character(
        tempo=1.1, drift_percent_per_min=3.0, rubato=0.03, timekeeper_sd_ms=11.0,
        finger_sd_ms=8.0, level=76.0, level_sd=7.0, right_over=6.0, top_over=2.0, lead_ms=5.0,
        split_ms=-3.0, spread_sd_ms=11.0, hesitations=0.003, articulation=0.85,
        slips=_SOME_SLIPS.scaled(2.5),
        pedalling=Pedalling(
            release_ms=120.0, press_ms=190.0, sd_ms=60.0, missed=0.2, broken_per_min=1.0
        ),
    ),
    "rummaging": Character(
        tempo=0.75, rubato=0.05, timekeeper_sd_ms=14.0, finger_sd_ms=9.0, level_sd=7.0,
        lead_ms=6.0, spread_sd_ms=10.0, hesitations=0.02, restarts=0.015, restart_bars=3,
        jumps=0.2, articulation=0.9, slips=_SOME_SLIPS.scaled(2.0),
        pedalling=Pedalling(sd_ms=60.0, missed=0.2, broken_per_min=1.0),
    ),
}  # fmt: skip
