"""The command as a function: what it is asked, what it says, what it returns."""

import contextlib
import io
import json
import shlex
from datetime import UTC, datetime
from pathlib import Path

import jsonschema
import numpy as np
import pytest

import engine
from engine.arrangement import Arrangement, Span, whole_span
from engine.errors import SpanError
from engine.read import read_arrangement
from practice.cli import build_parser, load_commands, main
from practice.commands.show import has_screen
from practice.drill import carry_span, find_rate, find_span, name_span, type_span
from practice.drills.places import say_place
from practice.environment import Environment, ExitStatus, find_places
from practice.player import CHARACTERS, perform
from practice.settings import Settings, load_settings, save_settings
from practice.store.recording import read_recording, write_recording

NAMES = [module.NAME for module in load_commands()]
SCORES = Path(__file__).parents[1] / "fixtures" / "scores"
NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)


class Shell:
    """Runs commands in an environment of the test's own."""

    def __init__(self, folder):
        self.folder = folder

    def run(self, *args):
        """(exit status, standard output, standard error)."""
        out, err = io.StringIO(), io.StringIO()
        variables = {"UNDERSONG_DATA": str(self.folder / "data")}
        env = Environment(io.StringIO(), out, err, variables, now=lambda: NOON)
        status = main([str(a) for a in args], env)
        return status, out.getvalue(), err.getvalue()

    def done(self, *args):
        """Standard output of a command that must succeed."""
        status, out, err = self.run(*args)
        assert status == ExitStatus.DONE, err
        return out

    def refused(self, *args):
        """The one line of a command that must fail."""
        status, out, err = self.run(*args)
        assert status == ExitStatus.FAILED
        assert out == ""
        assert err.count("\n") == 1
        return err


@pytest.fixture
def shell(tmp_path):
    return Shell(tmp_path)


@pytest.fixture(scope="module")
def score(exercises):
    return exercises / "brine-pump.musicxml"


@pytest.fixture(scope="module")
def recording(score, tmp_path_factory):
    """The first bars of an exercise, with slips."""
    events = perform(
        read_arrangement(score), CHARACTERS["hurried"], np.random.default_rng(5), span=Span(0, 5)
    )
    path = tmp_path_factory.mktemp("cli") / "run.mid"
    write_recording(path, events)
    return path


def test_help_lists_every_command(shell):
    out = shell.done("--help")
    assert all(f"\n    {name}" in out for name in NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_every_commands_help_shows_an_example_that_can_be_typed(shell, name):
    out = shell.done(name, "--help")
    module = next(m for m in load_commands() if name == m.NAME)
    assert module.EXAMPLE.splitlines()[0] in out
    words = shlex.split(module.EXAMPLE.splitlines()[0])
    assert words[:2] == ["undersong", name]
    options = build_parser(Environment()).parse_args(words[1:])
    assert options.run is module.run


@pytest.mark.parametrize(
    "args",
    [
        (),
        ("unknown",),
        ("review",),
        ("review", "a", "b", "--hands", "feet"),
        ("play", "a", "--passes", "0"),
        ("play", "a", "--speed", "nan"),
        ("export", "twelve", "a.mid"),
    ],
)
def test_wrong_use_is_one_line_and_status_two(shell, args):
    status, out, err = shell.run(*args)
    assert (status, out) == (ExitStatus.WRONG_USE, "")
    assert err.count("\n") == 1
    assert "--help" in err


def test_review_says_what_was_played(shell, score, recording):
    out = shell.done("review", score, recording)
    assert "notes right" in out
    assert "slips" in out


def test_json_on_standard_output_holds_to_the_schema(shell, score, recording):
    result = json.loads(shell.done("review", score, recording, "--json", "-"))
    schema = json.loads((Path(engine.__file__).parent / "result.schema.json").read_text())
    jsonschema.validate(result, schema)
    assert len(result["passes"]) == 1


def test_the_match_table_has_a_row_for_each_note(shell, score, recording, tmp_path):
    table = tmp_path / "matches.tsv"
    shell.done("review", score, recording, "--matches", table, "--live")
    rows = [line.split("\t") for line in table.read_text().splitlines()]
    notes = read_recording(recording).notes
    assert rows[0][:4] == ["played_index", "onset_ms", "pitch", "score_id"]
    assert [int(r[2]) for r in rows[1:]] == [n.pitch for n in notes]


def test_only_the_bars_named_are_reviewed_against(shell, score, recording):
    result = json.loads(shell.done("review", score, recording, "--bars", "3-4", "--json", "-"))
    bars = {n["bar"] for p in result["passes"] for n in p["notes"] if n["bar"] is not None}
    assert bars <= {"3", "4"}


def test_a_recording_played_to_a_click_is_judged_by_it(shell, score, tmp_path):
    arrangement = read_arrangement(score)
    steady = perform(arrangement, CHARACTERS["steady"], np.random.default_rng(1), start_s=3.0)
    path = tmp_path / "steady.mid"
    write_recording(path, steady)
    result = json.loads(shell.done("review", score, path, "--tempo", "100%", "--json", "-"))
    (one,) = result["passes"]
    deviations = [n["deviation_ms"] for n in one["notes"] if n["deviation_ms"] is not None]
    assert one["pulse"] == "strict"
    assert max(map(abs, deviations)) < 2.0


def test_a_kept_recording_is_listed_reviewed_and_exported(shell, score, recording, tmp_path):
    assert "Kept as take 1." in shell.done("review", score, recording, "--keep")
    assert "Brine Pump" in shell.done("takes")
    (take,) = json.loads(shell.done("takes", "--json", "-"))
    assert (take["take"], take["source"], take["passes"]) == (1, "imported", 1)
    path = tmp_path / "again.mid"
    shell.done("export", 1, path)
    was, now = read_recording(recording).notes, read_recording(path).notes
    assert [(n.pitch, n.velocity) for n in was] == [(n.pitch, n.velocity) for n in now]
    for one, other in zip(was, now, strict=True):
        assert other.onset_s == pytest.approx(one.onset_s, abs=0.001)
    first = json.loads(shell.done("review", score, recording, "--json", "-"))
    kept = json.loads(shell.done("review", score, "1", "--json", "-"))
    for pass_one, pass_other in zip(first["passes"], kept["passes"], strict=True):
        assert [(n["what"], n["score_id"]) for n in pass_one["notes"]] == [
            (n["what"], n["score_id"]) for n in pass_other["notes"]
        ]


def test_nothing_is_kept_unasked(shell, score, recording):
    shell.done("review", score, recording)
    assert "No takes yet" in shell.done("takes")


def test_the_demo_plays_is_judged_and_kept(shell, score, tmp_path):
    result = tmp_path / "result.json"
    out = shell.done(
        "play", score, "--player", "demo", "--speed", 60, "--bars", "1-2", "--passes", 2,
        "--no-window", "--json", result,
    )  # fmt: skip
    assert "Pass 1: bars 1 to 2" in out
    assert "2 passes, kept as take 1." in out
    told = json.loads(result.read_text())
    assert [one["take"] for one in told["passes"]] == [1, 1]
    assert "demo" in shell.done("takes")


def test_a_strict_demo_keeps_to_the_click(shell, score):
    out = shell.done(
        "play", score, "--player", "demo", "--character", "steady", "--speed", 40, "--bars",
        "1-2", "--tempo", "90%", "--no-window", "--json", "-",
    )  # fmt: skip
    (one,) = json.loads(out)["passes"]
    assert one["pulse"] == "strict"
    marked = read_arrangement(score).tempo[0].qpm
    assert one["tempo_qpm"] == pytest.approx(0.9 * marked, rel=0.02)


def test_no_screen_is_said_and_nothing_more(shell, score):
    out = shell.done("play", score, "--player", "demo", "--speed", 60, "--bars", "1")
    assert "No screen here" in out


def test_without_a_name_the_last_arrangement_is_taken(shell, score):
    assert "undersong play ARRANGEMENT" in shell.refused("play", "--no-window")
    shell.done("play", score, "--player", "demo", "--speed", 60, "--bars", "1", "--no-window")
    assert "Brine Pump" in shell.done("play", "--player", "demo", "--speed", 60, "--bars", "1")


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("review", "none.musicxml", "none.mid"), "none.musicxml"),
        (("review", "SCORE", "none.mid"), "none.mid"),
        (("review", "SCORE", "SCORE"), "not a MIDI file"),
        (("review", "SCORE", "7"), "take 7"),
        (("export", "7", "a.mid"), "take 7"),
        (("review", "SCORE", "RUN", "--bars", "99"), "no bar 99"),
        (("review", "SCORE", "RUN", "--bars", "five"), "five"),
        (("review", "SCORE", "RUN", "--section", "Refrain"), "Refrain"),
        (("review", "SCORE", "RUN", "--tempo", "fast"), "not a tempo"),
        (("review", "SCORE", "RUN", "--json", "/nowhere/at/all.json"), "cannot be written"),
    ],
)
def test_what_cannot_be_done_is_one_line(shell, score, recording, args, words):
    named = {"SCORE": score, "RUN": recording}
    assert words in shell.refused(*(named.get(a, a) for a in args))


def test_a_store_that_cannot_be_opened_does_not_stop_the_practising(shell, score):
    (shell.folder / "data").write_text("no folder")
    status, out, err = shell.run(
        "play", score, "--player", "demo", "--speed", 60, "--bars", "1", "--no-window"
    )
    assert status == ExitStatus.DONE
    assert "takes are not kept" in err
    assert "nothing was kept" in out


def test_settings_come_back_and_what_is_not_ours_stays(tmp_path):
    path = tmp_path / "settings.json"
    assert load_settings(path) == (Settings(), [])
    path.write_text('{"keyboard": 5, "later": [1]}')
    found, warnings = load_settings(path)
    assert found == Settings()
    assert len(warnings) == 1
    assert save_settings(path, Settings(keyboard="Upright")) == ""
    assert load_settings(path)[0].keyboard == "Upright"
    assert json.loads(path.read_text())["later"] == [1]


def test_settings_that_cannot_be_read_are_left_alone(tmp_path):
    path = tmp_path / "settings.json"
    path.write_text("{ broken")
    assert load_settings(path)[1]
    assert "left as they are" in save_settings(path, Settings())
    assert path.read_text() == "{ broken"


def test_the_data_folder_is_the_one_named():
    assert find_places("/a", {"UNDERSONG_DATA": "/b"}).data == Path("/a")
    assert find_places(None, {"UNDERSONG_DATA": "/b"}).store == Path("/b/takes.db")
    assert find_places(None, {}).data.name == "undersong"


def test_a_screen_is_where_the_system_says():
    assert not has_screen({}, "linux")
    assert has_screen({"DISPLAY": ":0"}, "linux")
    assert has_screen({"WAYLAND_DISPLAY": "wayland-0"}, "linux")
    assert has_screen({}, "darwin")
    assert has_screen({"SDL_VIDEODRIVER": "x11"}, "linux")
    assert not has_screen({"SDL_VIDEODRIVER": "dummy", "DISPLAY": ":0"}, "linux")


# spans and tempos


@pytest.fixture(scope="module")
def shift(exercises):
    """A full miniature with a repeat that leaves out the introduction."""
    return read_arrangement(exercises / "salt-pans-night-shift.musicxml")


def test_bars_are_named_as_printed(shift):
    span = find_span(shift, "3-6")
    assert [shift.bars[i].number for i in (span.from_bar, span.to_bar)] == ["3", "6"]
    assert find_span(shift, "4") == Span(find_span(shift, "4-4").from_bar, span.to_bar - 2)
    assert find_span(shift) == whole_span(shift)
    assert find_span(shift, "3–6") == span


def test_the_second_time_through_can_be_named(shift):
    twice = next(b for b in shift.bars if b.time == 2)
    first = find_span(shift, twice.number)
    second = find_span(shift, f"{twice.number}@2")
    assert shift.bars[first.from_bar].time == 1
    assert second == Span(twice.index, twice.index)
    assert "time 2" in name_span(shift, second)
    with pytest.raises(SpanError, match="time 9"):
        find_span(shift, f"{twice.number}@9")


def test_sections_are_named_by_name_or_letter(shift):
    section = shift.form.sections[0]
    expected = Span(section.from_bar, section.to_bar - 1)
    assert find_span(shift, "", section.name) == expected
    assert find_span(shift, "", section.name.upper()) == expected
    with pytest.raises(SpanError):
        find_span(shift, "1-2", section.name)


def test_a_tempo_is_in_beats_of_the_mark_or_a_share(shift):
    span = whole_span(shift)
    mark = shift.tempo[0]
    assert find_rate(shift, span, "80%") == 0.8
    beats = mark.qpm / float(mark.beat_unit_q)
    assert find_rate(shift, span, f"{beats / 2}") == pytest.approx(0.5)
    for text in ("", "0", "fast", "1e9", "100000"):
        with pytest.raises(SpanError):
            find_rate(shift, span, text)


def test_a_span_is_found_again_in_a_score_saved_anew(shift):
    assert carry_span(shift, shift, Span(2, 5)) == Span(2, 5)
    assert carry_span(shift, shift, whole_span(shift)) == whole_span(shift)


def test_a_span_that_ends_in_a_split_bar_is_carried_over_whole() -> None:
    # Bar 12a is split in two, both halves printed as 12a.
    score = read_arrangement(SCORES / "printed-numbers.musicxml")
    assert [b.number for b in score.bars[1:3]] == ["12a", "12a"]
    assert carry_span(score, score, Span(0, 2)) == Span(0, 2)


@pytest.mark.parametrize(
    "name", ["after-jump", "endings", "mid-bar-repeat", "printed-numbers", "da-capo-endings"]
)
def test_bars_are_typed_so_that_they_are_found_again(name: str) -> None:
    score = read_arrangement(SCORES / f"{name}.musicxml")
    count = len(score.bars)
    spans = [Span(a, b) for a in range(count) for b in range(a, count)]
    numbers = {b.number for b in score.bars if b.number}
    times = {b.time for b in score.bars}
    told = [f"{a}-{b}@{time}" for a in numbers for b in numbers for time in times]
    can_be_told = set()
    for bars in told:
        with contextlib.suppress(SpanError):
            can_be_told.add(find_span(score, bars=bars))
    assert can_be_told
    for span in spans:
        found = find_span(score, bars=type_span(score, span))
        assert found.from_bar <= span.from_bar
        assert span.to_bar <= found.to_bar
        assert found == span or span not in can_be_told


def test_the_drill_of_bars_before_a_jump_is_of_these_bars() -> None:
    # Played 1 2 1 2 3 1 2 1 2 3: "1-3" alone begins at the second 1, for the way to 3 is shorter.
    score = read_arrangement(SCORES / "after-jump.musicxml")
    assert say_place(score, Span(0, 4)) == "bars 1-3@1"
    assert find_span(score, bars="1-3@1") == Span(0, 4)


@pytest.mark.parametrize("time", ["x", "0", "²", "9"])
def test_a_section_at_no_such_time_is_refused(shift: Arrangement, time: str) -> None:
    name = shift.form.sections[0].name
    with pytest.raises(SpanError, match="there is no section"):
        find_span(shift, section=f"{name}@{time}")


@pytest.mark.parametrize(
    "words", [["--bars", "1-2"], ["--hands", "left"], ["--part", "line"], ["--no-pedal"]]
)
def test_what_is_chosen_of_a_page_is_refused_with_a_take(shell, words):
    status, _, err = shell.run("listen", "--take", "1", *words)
    assert status == ExitStatus.FAILED
    assert "a take is heard as it was played" in err
    assert words[0] in err


def test_a_folder_for_a_score_is_called_a_folder(shell):
    status, _, err = shell.run("proof", str(shell.folder))
    assert status == ExitStatus.FAILED
    assert "that is a folder; name a score in it" in err


@pytest.mark.parametrize(
    "words", [["plan", "--minutes", "abc"], ["plan", "--turn", "x"], ["ports", "--latency", "?"]]
)
def test_a_number_that_is_none_is_refused_in_plain_words(shell, words):
    status, _, err = shell.run(*words)
    assert status == ExitStatus.WRONG_USE
    assert f"{words[-1]!r} is not a number" in err
    assert "float" not in err
