"""Takes whose every figure is kept, so that no change of the measures goes unseen.

`python -m tests.measure.golden` writes `tests/measure/goldens/*.json` afresh: on purpose, after
looking at what changed. Whether the figures are *true* is for the other tests to say.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from engine.arrangement import Arrangement, Hands, Mark, Phrase, Span, whole_span
from engine.findings import Estimate, Finding
from engine.measure import Instrument, deviations_ms, measure
from engine.performance import DAMPER, PedalMove, PlayedNote, Pulse
from engine.result import rounded, to_json
from tests.measure.by_hand import figure_of, page, with_form
from tests.measure.known_playing import Known, Played, play_known

FOLDER = Path(__file__).with_name("goldens")


@dataclass(frozen=True)
class Take:
    """Everything that `measure` is given."""

    played: Played
    span: Span | None = None
    hands: Hands = "both"
    instrument: Instrument | None = None
    more: dict[str, Any] = field(default_factory=dict)


def with_phrases(arrangement: Arrangement, bars: int = 4) -> Arrangement:
    """A phrase every few bars."""
    count = len(arrangement.bars) // bars
    phrases = tuple(
        Phrase(0, k + 1, Fraction(4 * bars * k), Fraction(4 * bars * (k + 1))) for k in range(count)
    )
    return replace(arrangement, form=replace(arrangement.form, phrases=phrases))


def usual() -> Take:
    """The project's texture, played well, a little faster as it goes on."""
    played = play_known(Known(bars=24, drift=3.0, right=0.985), 11)
    return Take(replace(played, arrangement=with_phrases(played.arrangement)))


def ragged() -> Take:
    """Slips, a hesitation, a fermata, bars played again, ramps of the pedal; calibrated."""
    known = Known(bars=24, jitter=13.0, together_sd=18.0, lead_sd=25.0, lift=(90, 80),
                  catch=(230, 120), right=0.97)  # fmt: skip
    played = play_known(known, 12)
    arrangement = with_phrases(played.arrangement)
    arrangement = replace(arrangement, marks=(Mark("fermata", Fraction(47), 11),))
    bar = arrangement.table["bar"]
    score = {f.played: f.score for f in played.findings if f.played is not None}

    def wait(index: int) -> float:
        at = int(bar[score[index]])
        return (0.9 if at >= 6 else 0.0) + (1.5 if at >= 12 else 0.0)

    notes = [_moved(n, wait(n.index)) for n in played.notes]
    said = [_erred(f, score) for f in played.findings]
    notes, said = _again(notes, said, bar, score)
    pedals = [
        replace(m, time_s=m.time_s + (0.9 if m.time_s > 8.2 else 0.0)
                + (1.5 if m.time_s > 15.4 else 0.0)) for m in played.pedals
    ]  # fmt: skip
    known_instrument = Instrument(
        "upright", (9, 121), Estimate(0.6, 0.5, 0.7, 60, "ms"), 35, 85, 100, 0.22, 0.5
    )
    whole = Played(arrangement, tuple(notes), _ramps(pedals), tuple(said), Pulse())
    return Take(whole, instrument=known_instrument)


def _moved(note: PlayedNote, by_s: float) -> PlayedNote:
    return replace(note, onset_s=note.onset_s + by_s, release_s=note.release_s + by_s)


def _erred(f: Finding, score: dict[int, int]) -> Finding:
    if f.played is not None and f.played % 61 == 7:
        return Finding(f.played, None, "wrong", stands_for=f.score)
    if f.played is not None and f.played % 83 == 9:
        return Finding(f.played, None, "extra")
    return f


def _again(notes, said, bar, score):
    """The last two bars are played twice."""
    end = max(n.onset_s for n in notes) + 0.4
    first = min(n.onset_s for n in notes if bar[score[n.index]] >= 22)
    copies = [n for n in notes if bar[score[n.index]] >= 22]
    for n in copies:
        index = len(notes)
        notes.append(replace(_moved(n, end - first), index=index))
        said.append(Finding(index, score[n.index], "right"))
    return notes, said


def _ramps(pedals: list[PedalMove]) -> tuple[PedalMove, ...]:
    """Each move in five steps of 12 ms, down and up."""
    out, before = [], 0
    for m in pedals:
        for k in range(1, 6):
            value = round(before + (m.value - before) * k / 5)
            out.append(PedalMove(m.time_s + 0.012 * (k - 3), DAMPER, value))
        before = m.value
    return tuple(sorted(out, key=lambda m: m.time_s))


def clicked() -> Take:
    """The left hand alone with a click at nine tenths, some bars only."""
    known = Known(bars=20, interval=150.0 / 0.9, click=-12.0, click_sd=9.0, click_drift=-40.0)
    played = play_known(known, 13)
    arrangement = play_known(Known(bars=20), 13).arrangement
    pulse = Pulse("strict", 1.0, 0.0, 0.9)
    return Take(
        replace(played, arrangement=arrangement, pulse=pulse), span=Span(2, 17), hands="left"
    )


def chordal() -> Take:
    """Slow chords in 3/4 with rests, a roll, a grace, an ornament, small print and a repeat."""
    written = []
    for bar in range(24):
        at = 3.0 * bar
        written += [(at, 2.0, 40 + bar % 3 + o, "left") for o in (0, 7, 12)]
        written += [(at, 1.0, 64 + bar % 4 + o, "right") for o in (0, 12)]
        if bar % 6 != 5:
            written.append((at + 2.0, 1.0, 67 + bar % 5, "right"))
    arrangement = page(written, qpm=72, bar_q=3)
    right = [i for i, n in enumerate(arrangement.notes) if n.hand == "right"]
    notes = [
        replace(n, arpeggiated=i % 41 == 3, ornament="turn" if i % 53 == 5 else "",
                optional=i % 47 == 6, grace="before" if i % 59 == 8 else "")
        for i, n in enumerate(arrangement.notes)
    ]  # fmt: skip
    bars = [replace(b, time=2 if 16 <= b.index < 20 else 1) for b in arrangement.bars]
    arrangement = replace(arrangement, notes=tuple(notes), bars=tuple(bars))
    arrangement = with_form(arrangement, line=tuple(right),
                            figures=(figure_of(arrangement, "left", 3.0, 3),))  # fmt: skip
    return Take(_slowly(arrangement))


def _slowly(arrangement: Arrangement) -> Played:
    draw = np.random.default_rng(14)
    played, said = [], []
    order = np.argsort(arrangement.table["onset_s"], kind="stable")
    for i in order:
        if 16 <= arrangement.notes[i].bar < 20:
            continue
        at = 1.0 + 1.1 * float(arrangement.table["onset_s"][i]) + draw.normal(0, 0.018)
        loud = int(np.clip(draw.normal(70, 9), 1, 127))
        index = len(played)
        held = float(arrangement.table["duration_s"][i]) * 1.02
        played.append(PlayedNote(index, arrangement.notes[i].pitch, loud, at, at + held))
        said.append(Finding(index, int(i), "right"))
    pedals = [PedalMove(1.0 + 2.75 * k + d, DAMPER, v) for k in range(24)
              for d, v in ((0.05, 0), (0.22, 110), (1.4, 60), (1.6, 110))]  # fmt: skip
    return Played(arrangement, tuple(played), tuple(pedals), tuple(said), Pulse())


def wandering() -> Take:
    """Rubato, a new marked tempo, a breath, bars left out and gone back to, two fingerings, a
    trembling foot."""
    known = Known(bars=32, jitter=0.0, timekeeper=6.0, finger=4.0, rubato=(0.05, 4.0), right=0.99)
    played = play_known(known, 15)
    arrangement = with_phrases(played.arrangement, 8)
    bar = arrangement.table["bar"]
    marks = (*arrangement.tempo, replace(arrangement.tempo[0], onset_q=Fraction(64), qpm=170.0))
    fingers = {0: "53212123", 16 * 8: "54212124"}
    notes, place = [], -1
    for n in arrangement.notes:
        place += n.hand == "left"
        which = fingers.get(place - place % 8, "") if n.hand == "left" else ""
        notes.append(replace(n, fingering=which[place % 8] if which else ""))
    arrangement = replace(
        arrangement, notes=tuple(notes), tempo=marks, marks=(Mark("breath", Fraction(95), 23),)
    )
    score = {f.played: f.score for f in played.findings if f.played is not None}
    # Bars 13 and 14 are left out; from bar 25 the player goes back to 21 and on to the end.
    order = [*range(12), *range(14, 24), *range(20, 32)]
    heard, said, end_s, shift = [], [], 0.5, 0.0
    for k, at in enumerate(order):
        mine = [n for n in played.notes if bar[score[n.index]] == at]
        if k and order[k - 1] + 1 != at:
            shift = end_s + 0.35 - mine[0].onset_s
        for n in mine:
            said.append(Finding(len(heard), score[n.index], "right"))
            heard.append(replace(_moved(n, shift), index=len(heard)))
        end_s = heard[-1].onset_s + 0.3
    heard_order = sorted(range(len(heard)), key=lambda i: heard[i].onset_s)
    said = [replace(said[i], played=j) for j, i in enumerate(heard_order)]
    heard = [replace(heard[i], index=j) for j, i in enumerate(heard_order)]
    foot = [PedalMove(0.4 + 0.21 * k, DAMPER, (127, 96, 61, 66, 120, 40, 0, 78)[k % 8])
            for k in range(200)]  # fmt: skip
    return Take(Played(arrangement, tuple(heard), tuple(foot), tuple(said), Pulse()))


def right_alone() -> Take:
    """The right hand against the click, under one long pedal: rests, entries, scattered octaves,
    some rolled, and a line that smears."""
    draw = np.random.default_rng(16)
    at_q = [q for bar in range(20) if bar % 5 != 3
            for q in (4.0 * bar, 4.0 * bar + 1.5, 4.0 * bar + 2.0, 4.0 * bar + 2.75)]  # fmt: skip
    written = [(q, 0.5, 62 + int(3 * q) % 7 + o, "right") for q in at_q for o in (0, 12)]
    arrangement = page(written, qpm=84, pedals=())
    tune = tuple(range(1, len(written), 2))
    arrangement = with_form(
        arrangement, line=tune, doublings=tuple((i, i - 1) for i in tune),
        phrases=tuple(Phrase(0, k, Fraction(20 * k), Fraction(20 * k + 12)) for k in range(4)),
    )  # fmt: skip
    played, said = [], []
    for i in range(len(written)):
        late = draw.normal(8, 14) + (90.0 if i % 34 == 3 else 0.0) + (-0.4 * i)
        at = 2.0 + float(arrangement.table["onset_s"][i]) / 0.95 + late / 1000.0
        loud = int(np.clip(draw.normal(78 if i % 2 else 66, 7), 1, 127))
        played.append(PlayedNote(i, arrangement.notes[i].pitch, loud, at, at + 0.3))
        said.append(Finding(i, i, "right"))
    pulse = Pulse("strict", 2.0, 0.0, 0.95)
    held = (PedalMove(1.5, DAMPER, 127), PedalMove(31.0, DAMPER, 0), PedalMove(33.0, DAMPER, 127))
    whole = Played(arrangement, tuple(played), held, tuple(said), pulse)
    return Take(whole, hands="right", span=Span(0, 18), instrument=Instrument("stage"))


TAKES: dict[str, Callable[[], Take]] = {
    "usual": usual,
    "ragged": ragged,
    "clicked": clicked,
    "chordal": chordal,
    "wandering": wandering,
    "right alone": right_alone,
}


def figures_of(take: Take) -> dict[str, Any]:
    """Every figure of a take, rounded as results are."""
    played = take.played
    found = measure(
        played.arrangement, played.notes, played.pedals, played.findings,
        span=take.span or whole_span(played.arrangement), hands=take.hands, pulse=played.pulse,
        instrument=take.instrument,
    )  # fmt: skip
    late = deviations_ms(played.arrangement, played.notes, played.findings, played.pulse)
    rows = [None if np.isnan(x) else float(x) for x in late]
    return dict(rounded({"measures": to_json(found), "deviation_ms": rows}))


def main() -> int:
    """Write all of them."""
    FOLDER.mkdir(exist_ok=True)
    for name, make in TAKES.items():
        path = FOLDER / f"{name}.json"
        path.write_text(json.dumps(figures_of(make()), indent=1) + "\n")
        print(path)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
