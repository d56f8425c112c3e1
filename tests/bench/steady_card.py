"""A sound card with a steady clock: JACK's dummy driver, played to through a PulseAudio server.

SDL cannot play to JACK itself. The driver wakes by the system's clock at absolute times, as a
crystal would, and `jack_rec` writes down what the card plays. Needs jackd2, pulseaudio and
pulseaudio-module-jack.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

RATE_HZ = 44100
_PERIOD_FRAMES = 256
#: Servers take a while to come up; a stream takes a while to settle.
_UP_S = 2.0


def why_not() -> str:
    """What is missing for such a card, "" where nothing is."""
    missing = [name for name in ("jackd", "jack_rec", "pulseaudio") if shutil.which(name) is None]
    sinks = list(Path("/usr/lib").glob("pulse*/modules/module-jack-sink.so"))
    return ", ".join(missing + ([] if sinks else ["pulseaudio's module-jack-sink"]))


@contextmanager
def steady_card(seconds: float) -> Iterator[Callable[[], npt.NDArray[np.int16]]]:
    """SDL plays to such a card meanwhile; gives what waits for the `seconds` heard, one channel."""
    with tempfile.TemporaryDirectory() as folder, ExitStack() as servers:
        name, socket, heard = f"card-{os.getpid()}", f"{folder}/native", Path(folder) / "heard.wav"
        env = {**os.environ, "JACK_DEFAULT_SERVER": name, "JACK_NO_START_SERVER": "1"}
        env |= {"PULSE_RUNTIME_PATH": folder, "PULSE_STATE_PATH": folder, "HOME": folder}
        jack = ["jackd", "-n", name, "-r", "-d", "dummy", "-r", str(RATE_HZ)]
        servers.enter_context(_running([*jack, "-p", str(_PERIOD_FRAMES)], env))
        sink = f"module-jack-sink sink_name=card server_name={name} connect=yes channels=2"
        door = f"module-native-protocol-unix auth-anonymous=1 socket={socket}"
        pulse = ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1"]
        servers.enter_context(_running([*pulse, "-L", sink, "-L", door], env))
        listed = subprocess.run(["jack_lsp"], env=env, capture_output=True, text=True, check=True)
        port = next(line for line in listed.stdout.splitlines() if line.endswith("front-left"))
        record = ["jack_rec", "-f", str(heard), "-d", str(round(seconds)), "-b", "16", port]
        recorder = subprocess.Popen(record, env=env, stderr=subprocess.DEVNULL)
        os.environ.update(SDL_AUDIODRIVER="pulseaudio", PULSE_SERVER=f"unix:{socket}")

        def listen_back() -> npt.NDArray[np.int16]:
            recorder.wait(seconds + 60.0)
            return np.asarray(soundfile.read(heard, dtype="int16")[0])

        yield listen_back


@contextmanager
def _running(command: list[str], env: dict[str, str]) -> Iterator[None]:
    server = subprocess.Popen(
        command, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        time.sleep(_UP_S)
        if server.poll() is not None:
            raise OSError(f"{command[0]} did not start (exit code {server.returncode})")
        yield
    finally:
        server.terminate()
        server.wait(10)
