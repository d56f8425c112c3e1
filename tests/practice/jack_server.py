"""A JACK server with no sound card, for tests and benchmarks on real MIDI ports.

A program that does not take its turn within a period loses what came in it, so a busy machine
needs long periods: 21 ms for tests, which look at order and content, 5 ms for benchmarks.
"""

import contextlib
import os
import shutil
import subprocess
import tempfile
import time
from pathlib import Path


def why_not():
    """Why there can be no server here, "" where there can."""
    missing = [name for name in ("jackd", "jack_lsp") if shutil.which(name) is None]
    return f"{' and '.join(missing)} missing: install jackd2 to test real ports" if missing else ""


@contextlib.contextmanager
def running_server(period_frames=1024):
    """Start a server; yields the environment for programs that are to use it."""
    _clear_dead_servers()
    name = f"undersong-{os.getpid()}"
    env = {**os.environ, "JACK_DEFAULT_SERVER": name, "JACK_NO_START_SERVER": "1"}
    command = ["jackd", "-n", name, "-r", "-d", "dummy", "-r", "48000", "-p", str(period_frames)]
    with tempfile.NamedTemporaryFile(suffix=".log") as log:
        env["JACK_TEST_LOG"] = log.name
        server = subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT)
        try:
            _wait_until_up(env)
            yield env
        finally:
            server.terminate()
            try:
                server.wait(10)
            except subprocess.TimeoutExpired:
                server.kill()


def times_skipped(env):
    """How often the server has gone on without a program that was not ready in its period."""
    with open(env["JACK_TEST_LOG"], encoding="utf-8", errors="replace") as log:
        return sum("was not finished" in line for line in log)


def _clear_dead_servers():
    """Servers that were killed leave their slots taken, and after eight no other starts."""
    if subprocess.run(["pgrep", "-x", "jackd"], capture_output=True, check=False).returncode == 1:
        for left in Path("/dev/shm").glob("jack*"):
            shutil.rmtree(left) if left.is_dir() else left.unlink(missing_ok=True)


def _wait_until_up(env):
    for _ in range(100):
        listed = subprocess.run(["jack_lsp"], env=env, capture_output=True, check=False)
        if listed.returncode == 0:
            return
        time.sleep(0.05)
    raise RuntimeError("the JACK server did not come up")
