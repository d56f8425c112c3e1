"""The long versions of every fault, and their table.

usage: python -m tests.trust [--quick] [--only NAME ...] [--SETTING N ...]; see --help
"""

from __future__ import annotations

import argparse
import platform
import sqlite3
import sys
from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np

from tests.trust.cable import unplug_many
from tests.trust.doubts import doubt_all
from tests.trust.endings import end_in_mid_pass
from tests.trust.endurance import endure_all
from tests.trust.floods import flood_all
from tests.trust.fuzz import bend_files
from tests.trust.kills import kill_at_random
from tests.trust.largest import read_largest
from tests.trust.power import fail_at_random
from tests.trust.sameness import review_everywhere
from tests.trust.supply import check_supply
from tests.trust.threads import fail_in_all_threads
from tests.trust.verdict import Verdict, table
from tests.trust.window_threads import fail_in_window_threads
from tests.trust.writes import write_only_where_named

#: Enough to see that every part runs, in some minutes.
QUICK: dict[str, float] = {
    "kills": 10, "failures": 20, "faults": 2, "endings": 1, "pulls": 5, "flood_s": 5.0,
    "hours": 1.0, "real_s": 0.0, "cases": 1000, "share": 0.1, "doubts": 2,
}  # fmt: skip
PAGES = ("brine-pump", "evaporation", "two-sluices", "salt-pans-night-shift")
Options = argparse.Namespace
FAULTS: dict[str, Callable[[Options], list[Verdict]]] = {
    "kills": lambda o: [kill_at_random(o.kills)],
    "power": lambda o: [fail_at_random(o.failures)],
    "threads": lambda o: fail_in_all_threads(o.faults) + fail_in_window_threads(o.faults),
    "endings": lambda o: end_in_mid_pass(o.endings),
    "cable": lambda o: [unplug_many(o.pulls)],
    "floods": lambda o: flood_all(o.flood_s),
    "endurance": lambda o: endure_all(o.hours, o.real_s),
    "fuzz": lambda o: bend_files(o.cases),
    "largest": lambda o: read_largest(o.share),
    "doubts": lambda o: doubt_all(o.doubts, PAGES),
    "sameness": lambda o: review_everywhere(o.takes, tuple(o.other_python)),
    "writes": lambda _: [write_only_where_named()],
    "supply": lambda _: check_supply(),
}


def main() -> int:
    """Make every fault; 0 if all were survived."""
    parser = _parser()
    if parser.parse_args().quick:
        parser.set_defaults(**QUICK)
    options = parser.parse_args()
    verdicts: list[Verdict] = []
    for name, make in FAULTS.items():
        if not options.only or name in options.only:
            verdicts += make(options)
            print(f"{name} done", file=sys.stderr, flush=True)
    print(
        f"{datetime.now(UTC):%Y-%m-%d}, Python {platform.python_version()}, "
        f"SQLite {sqlite3.sqlite_version}, numpy {np.__version__}, {platform.system()}\n"
    )
    print(table(verdicts))
    return 0 if all(v.passed for v in verdicts) else 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m tests.trust", description=__doc__)
    add = parser.add_argument
    add("--quick", action="store_true", help="a few of each; what is also named counts as named")
    add("--only", action="append", default=[], choices=FAULTS, help="may be given again")
    add("--kills", type=int, default=500)
    add("--failures", type=int, default=500, help="of the power")
    add("--faults", type=int, default=20, help="in each place of a thread")
    add("--endings", type=int, default=20, help="of each kind, in mid-pass")
    add("--pulls", type=int, default=200, help="of the cable")
    add("--flood-s", type=float, default=60.0, help="length of each flood")
    add("--hours", type=float, default=8.0, help="of playing, accelerated")
    add("--real-s", type=float, default=3600.0, help="of playing in real time, with the window")
    add("--cases", type=int, default=100_000, help="bent files of each format")
    add("--share", type=float, default=1.0, help="of the largest size that is read")
    add("--doubts", type=int, default=20, help="doubtful takes of each page")
    add("--takes", type=int, default=1, help="of each page and pianist, in all surroundings")
    add("--other-python", action="append", default=[], metavar="PYTHON", help="may be given again")
    return parser


if __name__ == "__main__":
    sys.exit(main())
