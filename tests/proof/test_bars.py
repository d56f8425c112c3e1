"""Where a loose tie is said to be, how a short bar is said, and keys that can be typed."""

from __future__ import annotations

from engine.arrangement import Arrangement
from engine.proof import Remark, find_remarks
from engine.read import read_score_bytes

PEDAL = (
    "<direction><direction-type><pedal type='start'/></direction-type><staff>1</staff></direction>"
)


def note(step: str, quarters: int, *ties: str) -> str:
    tied = "".join(f"<tie type='{t}'/>" for t in ties)
    return (
        f"<note><pitch><step>{step}</step><octave>5</octave></pitch>"
        f"<duration>{quarters}</duration>{tied}<voice>1</voice></note>"
    )


def score(*bars: str) -> Arrangement:
    """Bars of four quarters for one hand, numbered from 1."""
    time = (
        "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
    )
    inside = [f"{time}</attributes>{bars[0]}", *bars[1:]]
    measures = "".join(f"<measure number='{k}'>{b}</measure>" for k, b in enumerate(inside, 1))
    head = "<part-list><score-part id='P'><part-name>Piano</part-name></score-part></part-list>"
    text = f"<score-partwise>{head}<part id='P'>{measures}</part></score-partwise>"
    return read_score_bytes(text.encode(), "made.musicxml")


def remarks(arrangement: Arrangement, kind: str) -> list[Remark]:
    return [r for r in find_remarks(arrangement) if r.kind == kind]


def test_a_loose_tie_is_said_where_its_last_head_stands() -> None:
    """Two heads tied in order, the third tied on to nothing: a reader of bar 1 sees no error."""
    chain = score(
        note("C", 4, "start"),
        note("C", 2, "stop", "start") + note("C", 2, "stop", "start"),
        note("D", 4),
    )
    (tie,) = remarks(chain, "tie")
    assert (tie.bar, tie.beat) == ("2", 3)
    assert tie.why == "the tie at C5 ends nowhere: no note of that key after it"


def test_a_hidden_note_has_no_tie_on_the_page() -> None:
    seen = note("C", 4, "start")
    hidden = seen.replace("<note>", "<note print-object='no'>")
    assert len(remarks(score(seen, note("D", 4)), "tie")) == 1
    assert remarks(score(hidden, note("D", 4)), "tie") == []


def test_one_beat_is_not_called_beats() -> None:
    (short,) = remarks(score(note("C", 4), note("D", 1), note("E", 4), note("F", 4)), "bar")
    assert short.why == "holds 1 beat where 4 are due"


def test_what_the_reader_put_up_with_has_a_key_of_its_bar_that_can_be_typed() -> None:
    """Bars before it are another, and its number too: the key is the same."""
    long = PEDAL + note("C", 5)
    once = find_remarks(score(note("E", 4), long))
    moved = find_remarks(score(note("G", 4), note("A", 4), long))
    assert {r.kind for r in once} == {"bar", "pedal"}
    assert [r.bar for r in moved] == ["3", "3"]
    assert [r.key for r in moved] == [r.key for r in once]
    assert all(r.key.isalnum() for r in once)
    assert len({r.key for r in once}) == 2


REPEAT = "<barline location='left'><repeat direction='forward'/></barline>"
DOUBLE = "<barline location='right'><bar-style>light-light</bar-style></barline>"
THREE = "<attributes><time><beats>3</beats><beat-type>4</beat-type></time></attributes>"


def short_bars(*bars: str) -> list[str]:
    return [r.bar for r in remarks(score(*bars), "bar")]


def test_a_section_may_begin_with_a_pickup_as_the_page_may() -> None:
    """At a repeat, after a double bar, under a new signature; elsewhere it is an error."""
    whole, quarter = note("C", 4), note("D", 1)
    assert short_bars(whole, quarter, whole, whole) == ["2"]
    assert short_bars(whole, REPEAT + quarter, whole, whole) == []
    assert short_bars(whole + DOUBLE, quarter, whole, whole) == []
    assert short_bars(whole, THREE + quarter, note("E", 3), note("F", 3)) == []


def test_a_movement_in_the_middle_of_the_file_gives_its_pickup_back_at_its_end() -> None:
    """One beat before the first bar, three in the last before the new signature; two are wrong."""
    first, whole = note("D", 1), note("C", 4)
    assert short_bars(first, whole, note("E", 3), THREE + note("F", 3), note("G", 3)) == []
    assert short_bars(first, whole, note("E", 2), THREE + note("F", 3), note("G", 3)) == ["3"]


def test_a_new_signature_may_begin_in_the_middle_of_a_bar() -> None:
    """Half of a bar of four, then half of a bar of six."""
    six = THREE.replace("<beats>3", "<beats>6")
    halves = (note("E", 2), six + note("F", 3), note("G", 6))
    assert short_bars(note("C", 4), *halves) == []
    assert short_bars(note("C", 4), note("E", 3), *halves[1:]) == ["2"]
