"""What a wrong note may have been: one teller for each kind, each with its evidence.

A teller looks at a scene and says nothing, or how likely just this key would be if the slip were of
its kind (0 to 1), why, and in what words. `engine.slips.name` asks them and weighs what they say
with how common each kind is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from engine.arrangement import ScoreNote
from engine.pitch_names import LETTER_SEMITONES, SIGNS, midi_number, printed
from engine.slips import kinds
from engine.slips.scene import CHORD_S, Scene

WHITE = frozenset(LETTER_SEMITONES.values())
#: A brushed key is struck at most this much of the loudness of the key beside it.
BRUSHED_SHARE = 0.75
#: A second stroke of the same key counts as a doubled strike for so long.
DOUBLED_S = 0.35
SOON_S = 0.15
#: Likelihood of any one key, where nothing says which: about one in two octaves and a half.
ANY_KEY = 1 / 30


@dataclass(frozen=True, slots=True)
class Telling:
    """One explanation of a slip.

    Attributes:
        kind: see `engine.slips.kinds`.
        likelihood: of this key, if the slip is of this kind; 0 to 1.
        evidence: what told it. words: what to say after the place and the names.
        heard: the played key's name under this explanation, "" where the page decides.
    """

    kind: str
    likelihood: float
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
    if said is None or octave_partner(scene) is not None:
        return None  # an octave read wrong would be wrong in both its notes
    likelihood, evidence, words = said
    return Telling(kinds.ACCIDENTAL, likelihood, evidence, words, heard)


def _sign_story(scene: Scene, note: ScoreNote, heard: int) -> tuple[float, str, str] | None:
    """How a sign may have been misread: likelihood, evidence, words."""
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
    """The key next to the right one, or the next but one."""
    note, played = scene.written, scene.played
    if note is None or played is None or octave_partner(scene) is not None:
        return None
    step = played.pitch - note.pitch
    way = "above" if step > 0 else "below"
    if abs(step) == 1:
        return Telling(kinds.NEIGHBOUR, 0.32, "one key away", f"the key {way} was struck")
    if abs(step) != 2:
        return None
    if (played.pitch % 12 in WHITE) != (note.pitch % 12 in WHITE):
        return Telling(kinds.NEIGHBOUR, 0.14, "two keys away", f"the next key but one {way}")
    colour = "white" if note.pitch % 12 in WHITE else "black"
    words = f"the {colour} key {way} was struck"
    return Telling(kinds.NEIGHBOUR, 0.2, f"the next {colour} key", words)


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
    return Telling(kinds.OCTAVE, 0.48 / abs(octaves), f"{count} away", f"{count} {way}", heard)


def octave_partner(scene: Scene) -> ScoreNote | None:
    """The other note of a written octave, where it was struck right."""
    note = scene.written
    if note is None:
        return None
    for i in scene.together():
        other = scene.arrangement.notes[i]
        octave = other.hand == note.hand and abs(other.pitch - note.pitch) == 12
        if octave and i in scene.stage.played_for:
            return other
    return None


def in_octave(scene: Scene) -> bool:
    """Whether the hand stood on a written octave: one note right, the other a key or two off.

    Whoever reads or remembers an octave wrong does so in both its notes.
    """
    note, played = scene.written, scene.played
    if note is None or played is None or octave_partner(scene) is None:
        return False
    return 1 <= abs(played.pitch - note.pitch) <= 2


def tell_split(scene: Scene) -> Telling | None:
    """One note of a written octave a key or two off, while its partner was right."""
    note, played, other = scene.written, scene.played, octave_partner(scene)
    if note is None or played is None or other is None or not in_octave(scene):
        return None
    off = played.pitch - note.pitch
    size = "stretched" if (off > 0) == (note.pitch > other.pitch) else "closed"
    keys = {1: "a key", 2: "two keys"}[abs(off)]
    evidence = f"{plain(other.name)} an octave away was right"
    return Telling(kinds.SPLIT, 0.25, evidence, f"the octave was {size} by {keys}")


def tell_other_hand(scene: Scene) -> Telling | None:
    """A note that the other hand has at this moment and this hand has not."""
    played = scene.played
    if played is None:
        return None
    own = {n.pitch % 12 for n in scene.sounding if n.hand == scene.hand}
    theirs = [
        n for n in scene.sounding if n.hand != scene.hand and n.pitch % 12 == played.pitch % 12
    ]
    if in_octave(scene):
        return None
    if not theirs or played.pitch % 12 in own:
        return None
    other = min(theirs, key=lambda n: (n.onset_q != scene.onset_q, abs(n.pitch - played.pitch)))
    now = other.onset_q == scene.onset_q
    hand = other.hand
    octave = (played.pitch - other.pitch) // 12 + other.octave
    return Telling(
        kinds.OTHER_HAND,
        0.6 if now else 0.1,
        f"the {hand} hand {'strikes' if now else 'holds'} {plain(other.name)} here",
        f"it belongs to the {hand} hand",
        f"{other.step}{SIGNS[other.alter]}{octave}",
    )


def tell_doubled(scene: Scene) -> Telling | None:
    """The key was struck again where one stroke is written; the sooner, the likelier."""
    played = scene.played
    if played is None:
        return None
    best: Telling | None = None
    for i in scene.stage.struck_around(played.index, DOUBLED_S):
        other = scene.stage.notes[i]
        if other.pitch != played.pitch or i not in scene.stage.score_of:
            continue
        apart_s = abs(played.onset_s - other.onset_s)
        likelihood = 0.9 if apart_s <= SOON_S else 0.15
        if best is None or likelihood > best.likelihood:
            name = scene.arrangement.notes[scene.stage.score_of[i]].name
            evidence = f"two strokes {round(apart_s * 1000)} ms apart"
            best = Telling(kinds.DOUBLED, likelihood, evidence, "the key was struck twice", name)
    return best


def tell_brushed(scene: Scene) -> Telling | None:
    """A soft stroke beside a right one, at the same moment."""
    played = scene.played
    if played is None:
        return None
    for i in scene.stage.struck_around(played.index, CHORD_S):
        other = scene.stage.notes[i]
        step = abs(other.pitch - played.pitch)
        if not 1 <= step <= 2 or i not in scene.stage.score_of:
            continue
        if played.velocity <= BRUSHED_SHARE * other.velocity:
            name = scene.arrangement.notes[scene.stage.score_of[i]].name
            evidence = f"velocity {played.velocity} beside {other.velocity}"
            likelihood = 0.9 if step == 1 else 0.3
            return Telling(kinds.BRUSHED, likelihood, evidence, f"brushed beside {plain(name)}")
    return None


def tell_added(scene: Scene) -> Telling | None:
    """Nothing else: it is simply not on the page."""
    if scene.played is None:
        return None
    inside = any(n.pitch % 12 == scene.played.pitch % 12 for n in scene.sounding)
    why = "it is in the harmony" if inside else "nothing written is near it"
    return Telling(kinds.ADDED, ANY_KEY, why, "it is not on the page")
