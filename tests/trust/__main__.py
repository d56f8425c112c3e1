"""The long versions of every fault, and their table.

usage: python -m tests.trust [--kills N] [--failures N] [--cases N] [--flood-s S] ...
"""

from __future__ import annotations

import argparse
import platform
import sqlite3
import sys
from datetime import UTC, datetime

import numpy as np

from tests.trust.doubts import doubt_all
from tests.trust.floods import flood_all
from tests.trust.fuzz import bend_files
from tests.trust.kills import kill_at_random
from tests.trust.power import fail_at_random
from tests.trust.supply import check_supply
from tests.trust.threads import fail_in_all_threads
from tests.trust.verdict import table
from tests.trust.writes import write_only_where_named

PAGES = ("brine-pump", "evaporation", "two-sluices", "salt-pans-night-shift")


def main() -> int:
    """Make every fault; 0 if all were survived."""
    parser = argparse.ArgumentParser(prog="python -m tests.trust", description=__doc__)
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--failures", type=int, default=500, help="of the power")
    parser.add_argument("--cases", type=int, default=100_000, help="bent files of each format")
    parser.add_argument("--flood-s", type=float, default=60.0, help="length of each flood")
    parser.add_argument("--doubts", type=int, default=20, help="doubtful takes of each page")
    parser.add_argument("--faults", type=int, default=20, help="faults in each place of a thread")
    options = parser.parse_args()
    verdicts = [
        kill_at_random(options.kills),
        fail_at_random(options.failures),
        *bend_files(options.cases),
        *flood_all(options.flood_s),
        *doubt_all(options.doubts, PAGES),
        *fail_in_all_threads(options.faults),
        write_only_where_named(),
        *check_supply(),
    ]
    print(
        f"{datetime.now(UTC):%Y-%m-%d}, Python {platform.python_version()}, "
        f"SQLite {sqlite3.sqlite_version}, numpy {np.__version__}\n"
    )
    print(table(verdicts))
    return 0 if all(v.passed for v in verdicts) else 1


if __name__ == "__main__":
    sys.exit(main())
