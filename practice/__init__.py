"""The shell of Undersong: everything that touches the world (ports, disk, window, sound)."""

from importlib.metadata import PackageNotFoundError, version


def _installed_version() -> str:
    try:
        return version("undersong")
    except PackageNotFoundError:  # run from a checkout that was never installed
        return "0"


__version__ = _installed_version()
