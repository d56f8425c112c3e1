"""Files that are damaged, malicious or absurd: one line, at once, in little memory."""

from __future__ import annotations

import io
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from engine.errors import ScoreError
from engine.read import engravable_text, read_arrangement, read_score_bytes
from engine.read.limits import (
    MAX_DIRECTIONS,
    MAX_DOCUMENT_NOTES,
    MAX_ELEMENTS,
    MAX_FILE_BYTES,
    MAX_UNFOLDED_BARS,
    MAX_WRITTEN_NOTES,
)

NOTE = (
    "<note><pitch><step>C</step><octave>4</octave></pitch><duration>{duration}</duration>"
    "<voice>1</voice></note>"
)


def score(bars, divisions="1", head=""):
    """A score of one part; `bars` is the inside of each bar."""
    measures = "".join(f'<measure number="{i}">{bar}</measure>' for i, bar in enumerate(bars, 1))
    measures = measures.replace(
        '<measure number="1">',
        f'<measure number="1"><attributes><divisions>{divisions}</divisions></attributes>',
        1,
    )
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>{head}<score-partwise version="4.0">'
        '<part-list><score-part id="P1"><part-name>Piano</part-name></score-part></part-list>'
        f'<part id="P1">{measures}</part></score-partwise>'
    ).encode()


def note(duration="4"):
    return NOTE.format(duration=duration)


def archive(members, method=zipfile.ZIP_DEFLATED):
    """A zip of (name, bytes) pairs."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", method) as file:
        for name, data in members:
            file.writestr(name, data)
    return buffer.getvalue()


def container(path):
    return (
        "META-INF/container.xml",
        f'<container><rootfiles><rootfile full-path="{path}"/></rootfiles></container>'.encode(),
    )


REPEAT = '<barline location="right"><repeat direction="backward" times="{times}"/></barline>'
REST = "<note><rest/><duration>1</duration></note>"
WORDS = "<direction><direction-type><words>dim.</words></direction-type></direction>"
LAUGHS = "<!DOCTYPE s [" + '<!ENTITY a "ha">' + "".join(
    f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefghi", "bcdefghij", strict=True)
) + "]>"  # fmt: skip

REFUSED = {
    "empty": (b"", "empty"),
    "blank": (b" \n ", "empty"),
    "text": (b"Dear diary, today I played badly.", "not a score"),
    "picture": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "not a score"),
    "zeros": (b"\0" * 5000, "not a score"),
    "web page": (b"<html><body>404</body></html>", "outermost element is <html>"),
    "opus": (b"<opus/>", "outermost element is <opus>"),
    "cut off": (score([note()])[:-40], "breaks off"),
    "wrong encoding": (b'<?xml version="1.0" encoding="klingon"?><score-partwise/>', "damaged"),
    "no parts": (b"<score-partwise/>", "no parts"),
    "no bars": (score([]), "no notes"),
    "no notes": (score(["<note><rest/><duration>4</duration></note>"]), "no notes"),
    "entities": (score([note()], head='<!DOCTYPE s [<!ENTITY a "b">]>'), "entities"),
    "billion laughs": (score([note() + "<x>&j;</x>"], head=LAUGHS), "entities"),
    "outside entity": (
        score([note() + "<x>&e;</x>"], head='<!DOCTYPE s [<!ENTITY e SYSTEM "/etc/hosts">]>'),
        "entities",
    ),
    "zero divisions": (score([note()], divisions="0"), "divisions"),
    "negative divisions": (score([note()], divisions="-4"), "divisions"),
    "words for divisions": (score([note()], divisions="many"), "divisions"),
    "endless divisions": (score([note()], divisions="9" * 100_000), "divisions"),
    "negative duration": (score([note("-4")]), "duration"),
    "words for a duration": (score([note("long")]), "duration"),
    "huge duration": (score([note("999999999999")]), "longer than"),
    "huge backup": (
        score([note() + "<forward><duration>99999999999</duration></forward>"]),
        "longer than",
    ),
    "strange pitch": (score([note().replace("C", "H")]), "no proper pitch"),
    "octave of a billion": (
        score([note().replace("<octave>4", "<octave>999999999")]), "no key of a piano",
    ),
    "a million repeats": (score([note() + REPEAT.format(times=1_000_000)]), "unfolds to more"),
    "repeats in repeats": (
        score([note() + REPEAT.format(times=9999)] * 1000), "unfolds to more",
    ),
    "many notes many times": (
        score([note("0.001") * 2000 + REPEAT.format(times=900)]), "unfolds to more",
    ),
    "too many notes": (
        score([note("0.001") * (MAX_WRITTEN_NOTES + 1)]), f"more than {MAX_WRITTEN_NOTES} notes",
    ),
    "too many elements": (
        score([note("1") + "<a/>" * MAX_ELEMENTS]), f"more than {MAX_ELEMENTS} elements",
    ),
    "too many rests": (
        score([note() + REST * MAX_DOCUMENT_NOTES]), f"more than {MAX_DOCUMENT_NOTES} notes",
    ),
    "too many words": (
        score([note() + WORDS * (MAX_DIRECTIONS + 1)]), f"more than {MAX_DIRECTIONS} words",
    ),
    "too many bars": (
        score([note()] * (MAX_UNFOLDED_BARS + 1)), f"more than {MAX_UNFOLDED_BARS} bars",
    ),
    "many long bars": (score([note("2000")] * 101), "longer than 200000 quarters"),
    "deep nesting": (b"<score-partwise>" + b"<a>" * 200_000, "breaks off"),
    "zip of nothing": (archive([]) or b"", "not a score"),
    "zip without score": (archive([("readme.txt", b"hello")]), "no score"),
    "damaged zip": (archive([container("a.xml"), ("a.xml", score([note()]))])[:-60], "damaged"),
    "lying zip": (
        archive([("a.xml", score([note()]))], zipfile.ZIP_STORED).replace(b"part", b"tarp"),
        "damaged",
    ),
    "zip in zip": (
        archive([container("a.mxl"), ("a.mxl", archive([("b.xml", score([note()]))]))]),
        "not a score",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_refused_in_one_line(name):
    data, words = REFUSED[name]
    with pytest.raises(ScoreError) as refusal:
        read_score_bytes(data, "bad.musicxml")
    message = str(refusal.value)
    assert words in message
    assert message.startswith("bad.musicxml")
    assert "\n" not in message
    assert len(message) < 300


def many(count, text):
    return "".join(text.format(i=i) for i in range(count))


def tied(kind):
    return note("0").replace("<voice>", f'<tie type="{kind}"/><voice>')


HEAVY = {
    "open ties": score([tied("start") * 6_000 + tied("stop") * 6_000]),
    "signs to jump by": score([note() + many(10_000, '<sound segno="s{i}" coda="c{i}"/>')] * 3),
    "jumps and codas": score([note() + '<sound coda="c" tocoda="x" dacapo="yes"/>'] * 3_000),
    "endings": score([f'<barline location="left"><ending number="{i}" type="start"/></barline>'
                      + note() for i in range(1, 3_000)]),
    "cuts": score([note() * 200 + many(5_000, '<backup><duration>1</duration></backup>'
                   '<barline location="middle"><repeat direction="backward"/></barline>')]),
    "staves": score([many(12_000, note("1").replace("</note>", "<staff>{i}</staff></note>")
                          + "<backup><duration>1</duration></backup>")]),
    "depth": score([note() + "<a>" * 100_000 + "</a>" * 100_000]),
    "pedals": score([note("0.01") + many(30_000, '<sound damper-pedal="yes"/>')
                     + REPEAT.format(times=2)]),
}  # fmt: skip


PROGRAM = """
import resource, sys
from engine.errors import ScoreError
from engine.read import read_arrangement, score_file
resource.setrlimit(resource.RLIMIT_AS, (2**30, 2**30))
seconds, form, *paths = sys.argv[1:]
if form == "without form":
    score_file._with_form = lambda arrangement, *_: arrangement
begun = int(sum(resource.getrusage(resource.RUSAGE_SELF)[:2])) + 1
resource.setrlimit(resource.RLIMIT_CPU, (begun + int(seconds),) * 2)
for path in paths:
    try:
        read_arrangement(path)
        print(path, "was read")
    except ScoreError as error:
        print(error)
"""


def read_apart(seconds, form, paths):
    """Read files in a process limited to 1 GiB of addresses and some seconds of processor.

    The limits kill a reader that exceeds them; how long it took is not looked at.
    """
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(seconds), form, *map(str, paths)],
        capture_output=True, text=True, timeout=300, check=False,
        cwd=Path(__file__).resolve().parents[2],
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-500:]
    return done.stdout.splitlines()


def test_nothing_grows_with_the_square_of_the_file(tmp_path):
    """What a hostile file can pile up. The form is left out: it has limits of its own."""
    paths = [tmp_path / f"{name}.xml" for name in HEAVY]
    for path, data in zip(paths, HEAVY.values(), strict=True):
        path.write_bytes(data)
    assert len(read_apart(5 * len(paths), "without form", paths)) == len(paths)


def test_jumps_that_lead_to_each_other_end():
    jumps = [
        '<direction><direction-type><words>D.C. al Coda</words></direction-type></direction>',
        '<direction><direction-type><words>D.S.</words></direction-type></direction>',
    ]  # fmt: skip
    signs = '<sound segno="x" coda="y" tocoda="y" dalsegno="x" dacapo="yes"/>'
    bars = [note() + signs + jump for jump in jumps] * 20
    assert len(read_score_bytes(score(bars), "x").notes) < 20_000


def test_an_archive_names_its_score_and_nothing_leaves_it(tmp_path):
    inside = score([note()])
    data = archive(
        [container("../../evil.xml"), ("../../evil.xml", inside), ("other.xml", b"<opus/>")]
    )
    before = sorted(p.name for p in tmp_path.parent.iterdir())
    assert len(read_score_bytes(data, "x.mxl").notes) == 1
    assert sorted(p.name for p in tmp_path.parent.iterdir()) == before


def test_an_archive_without_container_is_searched():
    assert read_score_bytes(archive([("piece.xml", score([note()]))]), "x.mxl").notes


def test_content_not_suffix_tells(tmp_path):
    disguised = tmp_path / "piece.mid"
    disguised.write_bytes(archive([container("a.xml"), ("a.xml", score([note()]))]))
    assert read_arrangement(disguised).notes


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "iso-8859-1"])
def test_encodings(encoding):
    text = score([note()]).decode().replace("Piano", "Flügel")
    declared = "utf-8" if encoding == "utf-8-sig" else encoding
    data = text.replace("UTF-8", declared.upper()).encode(encoding)
    assert read_score_bytes(data, "x").notes


def test_files_that_cannot_be_opened(tmp_path):
    for path in (tmp_path / "none.xml", tmp_path, Path("/dev/zero"), "with\0zero"):
        with pytest.raises(ScoreError):
            read_arrangement(path)


def test_a_file_too_large_is_not_read_whole(tmp_path):
    large = tmp_path / "large.xml"
    with large.open("wb") as file:
        file.truncate(MAX_FILE_BYTES * 100)
    with pytest.raises(ScoreError, match="larger than"):
        read_arrangement(large)
    with pytest.raises(ScoreError, match="larger than"):
        engravable_text(large)


def zip_bomb(tmp_path):
    """Two hundred megabytes of blanks in a file of two hundred kilobytes."""
    path = tmp_path / "bomb.mxl"
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file,
        file.open("a.xml", "w", force_zip64=True) as member,
    ):
        for _ in range(200):
            member.write(b" " * 2**20)
    return path


def most_elements(tmp_path):
    """As many as a file may have, each with something to keep."""
    path = tmp_path / "most.xml"
    path.write_bytes(score([note("1") + '<a b="1"/>' * (MAX_ELEMENTS - 100)]))
    return path


def full_of_elements(tmp_path):
    """As many as a file has bytes for."""
    path = tmp_path / "full.xml"
    path.write_bytes(score([note("1") + "<a/>" * ((MAX_FILE_BYTES - 10_000) // 4)]))
    return path


@pytest.mark.parametrize("make", [zip_bomb, most_elements, full_of_elements])
def test_the_heaviest_files_stay_under_a_gibibyte_and_five_seconds(tmp_path, make):
    assert len(read_apart(5, "with form", [make(tmp_path)])) == 1
