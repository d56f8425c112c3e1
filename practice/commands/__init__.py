"""The commands, one module each.

A command's module has `NAME`, `HELP` (one line), `EXAMPLE` (lines to paste), `add_options(parser)`
and `run(options, env) -> ExitStatus`. It imports at its top nothing that is slow to load, so that
`undersong --help` answers at once.
"""

from __future__ import annotations

#: Modules of this package, in the order in which help lists them.
COMMANDS = (
    "play",
    "listen",
    "review",
    "proof",
    "takes",
    "drills",
    "progress",
    "plan",
    "export",
    "import_folder",
    "store",
    "ports",
)
