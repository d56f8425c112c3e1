"""What a wrong note may have been: one teller for each kind, each with its evidence.

A teller looks at a scene and says nothing, or how strongly the slip looks like its kind (0 to
1), why, and in what words. `WRONG` and `EXTRA` are the tables of those that are asked.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from engine.arrangement import ScoreNote
from engine.form.fifths import places_for, spell
from engine.pitch_names import LETTER_SEMITONES, SIGNS, midi_number, printed
from engine.slips import kinds
from engine.slips.scene import CHORD_S, Scene

WHITE = frozenset(LETTER_SEMITONES.values())
#: A brushed key is struck at most this much of the loudness of the key beside it.
BRUSHED_SHARE = 0.75
#: A second stroke of the same key counts as a doubled strike for so long.
DOUBLED_S = 0.35


@dataclass(frozen=True, slots=True)
class Telling:
    """One explanation of a slip.

    Attributes:
        kind: see `engine.slips.kinds`. strength: 0 to 1.
        evidence: what told it. words: what to say after the place and the names.
        heard: the played key's name under this explanation, "" where the page decides.
    """

    kind: str
    strength: float
    evidence: str
    words: str
    heard: str = ""


Teller = Callable[[Scene], Telling | None]


def plain(name: str) -> str:
    """A name for a sentence: printed signs, no octave."""
    return printed(name).rstrip("-0123456789")


def tell_accidental(scene: Scene) -> Telling | None:
    """The letter is right, its sign is not."""
    note, played = scene.written, scene.played
    if note is None or played is None:
        return None
    heard_alter = played.pitch - midi_number(note.step, 0, note.octave)
    if abs(heard_alter) > 3 or heard_alter == note.alter:
        return None
    heard = f"{note.step}{SIGNS[heard_alter]}{note.octave}"
    said = _sign_story(scene, note, heard_alter)
    if said is None:
        return None
    strength, evidence, words = said
    return Telling(kinds.ACCIDENTAL, strength, evidence, words, heard)


def _sign_story(scene: Scene, note: ScoreNote, heard: int) -> tuple[float, str, str] | None:
    """How a sign may have been misread: strength, evidence, words."""
    of_key = signature_alter(scene, note.step)
    sign = {-2: "double flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double sharp"}
    mine = sign.get(note.alter, "sign")
    if abs(note.alter) == 2 and heard * 2 == note.alter:
        once = "flat" if note.alter < 0 else "sharp"
        return 0.95, f"{plain(note.name)} is a {mine}", f"the {once} was read once, not twice"
    if heard == 0 and note.alter == of_key:
        return 0.8, f"the key signature makes every {note.step} {mine}", (
            f"the {mine} of the key signature was forgotten"
        )  # fmt: skip
    if heard == of_key and note.alter != of_key:
        back = f"the {mine} before it was missed" if note.alter else "the natural was missed"
        return 0.85, f"the key signature has {plain(note.step + SIGNS[of_key])}", back
    if heard == 0 and note.alter:
        return 0.85, f"{plain(note.name)} without its {mine}", f"the {mine} was missed"
    if _shown_nearby(scene, note.step, heard):
        carried = plain(note.step + SIGNS[heard])
        return 0.7, f"{carried} stands close by", f"the {carried} close by was kept"
    return None


def signature_alter(scene: Scene, step: str) -> int:
    """What the key signature in force does to a letter: 1, 0 or -1."""
    fifths = scene.arrangement.fifths
    for mark in scene.arrangement.marks:
        if mark.kind == "key" and mark.onset_q <= scene.onset_q:
            fifths = mark.value
    order = "FCGDAEB"
    if step in order[:fifths] if fifths > 0 else False:
        return 1
    return -1 if fifths < 0 and step in order[fifths:] else 0


def _shown_nearby(scene: Scene, step: str, alter: int) -> bool:
    bar = scene.written.bar if scene.written else -1
    return any(
        n.step == step and n.alter == alter and abs(n.bar - bar) <= 1 and n.onset_q <= scene.onset_q
        for n in scene.written_within(8.0)
    )


def tell_neighbour(scene: Scene) -> Telling | None:
    """The key next to the right one, or the next of its own colour."""
    note, played = scene.written, scene.played
    if note is None or played is None:
        return None
    step = played.pitch - note.pitch
    way = "above" if step > 0 else "below"
    if abs(step) == 1:
        return Telling(kinds.NEIGHBOUR, 0.75, "one key away", f"the key {way} was struck")
    same_colour = (played.pitch % 12 in WHITE) == (note.pitch % 12 in WHITE)
    if abs(step) == 2 and same_colour:
        colour = "white" if note.pitch % 12 in WHITE else "black"
        return Telling(
            kinds.NEIGHBOUR, 0.7, f"the next {colour} key", f"the {colour} key {way} was struck"
        )
    return None


def tell_octave(scene: Scene) -> Telling | None:
    """The right note some octaves off."""
    note, played = scene.written, scene.played
    if note is None or played is None or played.pitch == note.pitch:
        return None
    octaves, rest = divmod(played.pitch - note.pitch, 12)
    if rest:
        return None
    count = {1: "an octave", 2: "two octaves"}.get(abs(octaves), f"{abs(octaves)} octaves")
    way = "too high" if octaves > 0 else "too low"
    heard = f"{note.step}{SIGNS[note.alter]}{note.octave + octaves}"
    return Telling(kinds.OCTAVE, 0.95, f"{count} away", f"{count} {way}", heard)


def tell_split(scene: Scene) -> Telling | None:
    """One note of a written octave a key or two off, while its partner was right."""
    note, played = scene.written, scene.played
    if note is None or played is None:
        return None
    off = played.pitch - note.pitch
    if not 1 <= abs(off) <= 2:
        return None
    for i in scene.together():
        other = scene.arrangement.notes[i]
        if other.hand == note.hand and abs(other.pitch - note.pitch) == 12:
            if i not in scene.stage.played_for:
                continue
            wider = (off > 0) == (note.pitch > other.pitch)
            span = {1: "a key", 2: "two keys"}[abs(off)]
            size = "stretched" if wider else "closed"
            return Telling(
                kinds.SPLIT,
                0.85,
                f"{plain(other.name)} an octave away was right",
                f"the octave was {size} by {span}",
            )
    return None


def tell_other_hand(scene: Scene) -> Telling | None:
    """A note that the other hand has at this moment and this hand has not."""
    played = scene.played
    if played is None:
        return None
    own = {n.pitch % 12 for n in scene.sounding if n.hand == scene.hand}
    theirs = [
        n for n in scene.sounding if n.hand != scene.hand and n.pitch % 12 == played.pitch % 12
    ]
    if not theirs or played.pitch % 12 in own:
        return None
    other = min(theirs, key=lambda n: (n.onset_q != scene.onset_q, abs(n.pitch - played.pitch)))
    now = other.onset_q == scene.onset_q
    hand = other.hand
    octave = (played.pitch - other.pitch) // 12 + other.octave
    return Telling(
        kinds.OTHER_HAND,
        0.7 if now else 0.45,
        f"the {hand} hand {'strikes' if now else 'holds'} {plain(other.name)} here",
        f"it belongs to the {hand} hand",
        f"{other.step}{SIGNS[other.alter]}{octave}",
    )


def tell_doubled(scene: Scene) -> Telling | None:
    """The key was struck again where one stroke is written."""
    played = scene.played
    if played is None:
        return None
    for i in scene.stage.struck_around(played.index, DOUBLED_S):
        other = scene.stage.notes[i]
        if other.pitch == played.pitch and i in scene.stage.score_of:
            apart_ms = round(abs(played.onset_s - other.onset_s) * 1000)
            name = scene.arrangement.notes[scene.stage.score_of[i]].name
            return Telling(
                kinds.DOUBLED,
                0.9,
                f"two strokes {apart_ms} ms apart",
                "the key was struck twice",
                name,
            )
    return None


def tell_brushed(scene: Scene) -> Telling | None:
    """A soft stroke beside a right one, at the same moment."""
    played = scene.played
    if played is None:
        return None
    for i in scene.stage.struck_around(played.index, CHORD_S):
        other = scene.stage.notes[i]
        beside = 1 <= abs(other.pitch - played.pitch) <= 2 and i in scene.stage.score_of
        if beside and played.velocity <= BRUSHED_SHARE * other.velocity:
            name = scene.arrangement.notes[scene.stage.score_of[i]].name
            return Telling(
                kinds.BRUSHED,
                0.85,
                f"velocity {played.velocity} beside {other.velocity}",
                f"brushed beside {plain(name)}",
            )
    return None


def tell_added(scene: Scene) -> Telling | None:
    """Nothing else: it is simply not on the page."""
    if scene.played is None:
        return None
    inside = any(n.pitch % 12 == scene.played.pitch % 12 for n in scene.sounding)
    why = "it is in the harmony" if inside else "nothing written is near it"
    return Telling(kinds.ADDED, 0.5, why, "it is not on the page")


def name_as(pitch: int, like: ScoreNote) -> str:
    """A key named with another note's letter and sign where they are one pitch class."""
    for place in places_for(pitch):
        step, alter, octave = spell(pitch, place)
        if (step, alter) == (like.step, like.alter):
            return f"{step}{SIGNS[alter]}{octave}"
    return ""
