"""The command `undersong`: options in, exit status out. The work is done in `practice.commands`."""

from __future__ import annotations

import argparse
import importlib
import io
import os
import sys
from collections.abc import Sequence
from types import ModuleType
from typing import IO, Any, NoReturn

from engine.errors import UndersongError
from practice.commands import COMMANDS
from practice.environment import Environment, ExitStatus

DESCRIPTION = "A practice and rehearsal companion for pianists who play their own arrangements."


class _Stop(Exception):
    """The parser has said all there is to say."""

    def __init__(self, status: ExitStatus) -> None:
        self.status = status


class _Parser(argparse.ArgumentParser):
    """A parser that writes to the environment's streams and never ends the process."""

    env: Environment

    def error(self, message: str) -> NoReturn:
        self.env.warn(f"{self.prog}: {' '.join(message.split())}; see {self.prog} --help")
        raise _Stop(ExitStatus.WRONG_USE)

    def exit(self, status: int = 0, message: str | None = None) -> NoReturn:
        if message:
            self.env.warn(message.rstrip())
        raise _Stop(ExitStatus(status))

    def _print_message(self, message: str, file: IO[str] | None = None) -> None:  # type: ignore[override]
        self.env.stdout.write(message)


def main(args: Sequence[str], env: Environment) -> ExitStatus:
    """Run one command in an environment.

    Errors the user can act on become one line on standard error and an exit status, here and
    nowhere else.
    """
    try:
        options = build_parser(env).parse_args(args)
        return ExitStatus(options.run(options, env))
    except _Stop as stop:
        return stop.status
    except UndersongError as error:
        env.warn(f"undersong: {error}")
    except BrokenPipeError:
        pass
    except KeyboardInterrupt:
        env.warn("undersong: interrupted")
    except MemoryError:
        env.warn("undersong: out of memory; try a smaller file")
    return ExitStatus.FAILED


def build_parser(env: Environment) -> argparse.ArgumentParser:
    """The parser with every command's options."""
    top = _make_parser(env, prog="undersong", description=DESCRIPTION)
    top.add_argument("--version", action="version", version=f"undersong {_version()}")
    commands = top.add_subparsers(metavar="COMMAND", required=True, parser_class=_parser_class(env))
    for module in load_commands():
        one = commands.add_parser(
            module.NAME,
            help=module.HELP,
            description=module.HELP,
            epilog=f"example:\n  {module.EXAMPLE}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        one.add_argument("--data", metavar="DIR", help="where takes and settings are kept")
        module.add_options(one)
        one.set_defaults(run=module.run)
    return top


def load_commands() -> list[ModuleType]:
    """The modules of all commands, in the order of the help."""
    return [importlib.import_module(f"practice.commands.{name}") for name in COMMANDS]


def _parser_class(env: Environment) -> Any:
    return type("_CommandParser", (_Parser,), {"env": env})


def _make_parser(env: Environment, **options: Any) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = _parser_class(env)(**options)
    return parser


def _version() -> str:
    from practice import __version__

    return __version__


def run() -> int:
    """The console script."""
    # Small matrices only: threads would wait for each other, and steal the listener's time.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A terminal that cannot show a double flat gets a question mark, not a traceback.
            stream.reconfigure(errors="replace")
    return int(main(sys.argv[1:], Environment()))


if __name__ == "__main__":
    sys.exit(run())
