"""In mid-pass the window is closed, the engraver dies, the sound card goes: the take is whole.

The command itself runs in a process of its own, with a window on an X server without a screen.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from practice.store.store import Store
from tests.trust.verdict import Verdict

SCORE = Path(__file__).resolve().parents[2] / "exercises" / "brine-pump.musicxml"
#: The pass lasts half a minute; it is left after so many seconds of playing.
LEFT_S = 4.0
KINDS = ("window closed", "engraver killed", "sound card gone")


def end_in_mid_pass(tries: int) -> list[Verdict]:
    """Every ending `tries` times; none where there is no Xvfb."""
    from tests.trust.endurance import screen

    if shutil.which("Xvfb") is None:
        return [Verdict(f"in mid-pass: {kind}", 0, 0, "Xvfb missing") for kind in KINDS]
    with screen() as display:
        return [_end_often(kind, tries, display) for kind in KINDS]


def _end_often(kind: str, tries: int, display: str) -> Verdict:
    troubles = [_end_once(kind, LEFT_S + 0.3 * number, display) for number in range(tries)]
    first = next((trouble for trouble in troubles if trouble), "nothing")
    return Verdict(f"in mid-pass: {kind}", tries, sum(not t for t in troubles), first)


def _end_once(kind: str, left_s: float, display: str) -> str:
    """What went wrong, "" where the take is whole and the command ended well."""
    with TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "tests.trust.endings", kind, folder, str(left_s)]
        env = {**os.environ, "DISPLAY": display, "SDL_VIDEODRIVER": "x11"}
        env |= {"SDL_AUDIODRIVER": "dummy", "PYGAME_HIDE_SUPPORT_PROMPT": "1"}
        try:
            done = subprocess.run(
                command, env=env, cwd=SCORE.parents[1], capture_output=True, text=True, timeout=120
            )
        except subprocess.TimeoutExpired:
            return "the command never ended"
        if done.returncode or done.stderr:
            return f"status {done.returncode}, said: {done.stderr.strip()[-200:]}"
        sent, sent_after = map(int, done.stdout.splitlines()[-1].split())
        with Store(Path(folder) / "takes.db") as store:
            kept = sum(take.notes for take in store.takes())
            passes = len(store.passes())
    if not sent <= kept <= sent_after or not passes:
        return f"{kept} of {sent} to {sent_after} notes kept, {passes} passes"
    return ""


def play_until(kind: str, folder: Path, left_s: float) -> int:
    """In the child: `undersong play`, the ending brought about from inside."""
    import pygame

    from practice.cli import main as undersong
    from practice.environment import Environment
    from practice.sound.audio_device import AudioDevice
    from practice.window.screen import Screen
    from tests.trust.endurance import Probe

    probe, began_s, done = Probe(), list[float](), list[str]()
    sent: list[int] = []
    step: Callable[[Screen], bool] = Screen.step

    def step_and_end(screen: Screen) -> bool:
        if probe.notes and not began_s:
            began_s.append(time.monotonic())
        played_s = time.monotonic() - began_s[0] if began_s else 0.0
        if kind == "engraver killed":
            for process in screen._engraver._processes:
                process.kill()
        elif kind == "sound card gone" and played_s > left_s / 2 and not done:
            done.append(kind)
            # Every call to it fails from now on. Closing the mixer here instead would crash SDL
            # under the thread that feeds it, which no card that is pulled out does.
            AudioDevice._feed_once = _fail  # type: ignore[method-assign]
        if played_s > left_s and not sent:
            sent.append(probe.notes)
            pygame.event.post(pygame.event.Event(pygame.QUIT))
        return step(screen)

    Screen.step = step_and_end  # type: ignore[method-assign]
    command = ["play", str(SCORE), "--player", "demo", "--data", str(folder)]
    command += ["--own-notes"] if kind == "sound card gone" else []
    with probe.on_listener():
        status = int(undersong(command, Environment()))
    # the pianist is not stopped before the window is: what comes after its end is not kept
    print(sent[0], probe.notes)
    return status


def _fail(_: object) -> bool:
    raise OSError("the card has gone")


def main() -> int:
    """Play until the ending."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=KINDS)
    parser.add_argument("folder", type=Path)
    parser.add_argument("left_s", type=float)
    options = parser.parse_args()
    return play_until(options.kind, options.folder, options.left_s)


if __name__ == "__main__":
    sys.exit(main())
