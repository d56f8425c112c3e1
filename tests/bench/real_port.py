"""A real port from end to end: one process plays a recording into a MIDI port, `undersong play`
listens at the other side. Every note sent must be in its JSON, in order, and what was found live
must be what `review --live` finds in the file.

usage: python tests/bench/real_port.py SCORE RECORDING.mid [--speed X] [--period FRAMES]
"""

import argparse
import json
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "practice")]

from jack_server import running_server, times_skipped  # noqa: E402

UNDERSONG = [sys.executable, "-m", "practice.cli"]
SENDER = ROOT / "tests" / "practice" / "midi_sender.py"


def play_through_port(score, recording, folder, env, speed=1.0):
    """Play a recording into a port that `undersong play` hears; its result, and its last words."""
    result = Path(folder) / "played.json"
    play = subprocess.Popen(
        [*UNDERSONG, "play", str(score), "--no-window", "--json", str(result), "--data",
         str(folder), "--in", "Test piano"],
        cwd=ROOT, env=env, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        subprocess.run(
            [sys.executable, str(SENDER), str(recording), "Test piano", "--speed", str(speed)],
            env=env, check=True,
        )  # fmt: skip
        time.sleep(0.5)
        play.send_signal(signal.SIGINT)
        said, _ = play.communicate(timeout=120)
    finally:
        play.kill()
    return json.loads(result.read_text()), play.returncode, said


def review_live(score, recording, folder):
    """What `review --live` makes of the file."""
    result = Path(folder) / "reviewed.json"
    subprocess.run(
        [*UNDERSONG, "review", str(score), str(recording), "--live", "--json", str(result),
         "--data", str(folder)],
        cwd=ROOT, check=True, stdout=subprocess.DEVNULL,
    )  # fmt: skip
    return json.loads(result.read_text())


def notes_played(result):
    """All played notes of a result in order: (index, velocity), notes outside passes too."""
    rows = [n for one in result["passes"] for n in one["notes"] if n["played_index"] is not None]
    rows += result["outside"]
    return [(n["played_index"], n["velocity"]) for n in sorted(rows, key=_index)]


def found(result, what="what", score_id="score_id"):
    """What was found for each played note inside a pass: index to (what, score id)."""
    return {
        n["played_index"]: (n[what], n[score_id])
        for one in result["passes"]
        for n in one["notes"]
        if n["played_index"] is not None and what in n
    }


def _index(row):
    return row["played_index"]


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("score")
    parser.add_argument("recording")
    parser.add_argument("--speed", type=float, default=1.0)
    parser.add_argument("--period", type=int, default=1024, help="frames of the JACK server")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, running_server(options.period) as env:
        played, status, said = play_through_port(
            options.score, options.recording, folder, env, options.speed
        )
        skipped = times_skipped(env)
        reviewed = review_live(options.score, options.recording, folder)
    print(said.strip().splitlines()[-1])
    print(f"the JACK server went on without a program that was not ready {skipped} times")
    report(played, reviewed, status)


def report(played, reviewed, status):
    """Print what arrived and what was found of it."""
    sent, heard = notes_played(reviewed), notes_played(played)
    print(f"exit status {status}; {len(sent)} notes sent, {len(heard)} heard")
    if sent != heard:
        print("not the same: the machine is too busy for this period, or there is a fault")
        return
    live, expected = found(played, "live_what", "live_score_id"), found(reviewed)
    both = sorted(live.keys() & expected.keys())
    differ = [i for i in both if live[i] != expected[i]]
    print("all in order")
    print(f"found live as by review --live: {len(both) - len(differ)} of {len(both)} notes")
    for i in differ[:10]:
        print(f"  note {i}: live {live[i]}, review --live {expected[i]}")


if __name__ == "__main__":
    main()
