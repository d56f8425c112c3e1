"""The fonts used: taken from installed packages, never shipped.

Text is set in DejaVu and STIX (both in matplotlib's package), music signs in the SMuFL font that
verovio's package carries as woff2; a TrueType copy of it is made once in the user's cache.
"""

from __future__ import annotations

import base64
import importlib.util
import os
import re
from pathlib import Path

MUSIC_FONT = "Leipzig"
_EMBEDDED = re.compile(r"base64,([A-Za-z0-9+/=]+)")


def package_folder(name: str) -> Path:
    """Where an installed package lies, found without importing it.

    Raises:
        FileNotFoundError: it is not installed.
    """
    spec = importlib.util.find_spec(name)
    if spec is None or not spec.submodule_search_locations:
        raise FileNotFoundError(f"the package {name} is not installed; run pip install {name}")
    return Path(next(iter(spec.submodule_search_locations)))


def text_font(file_name: str) -> Path:
    """A font of matplotlib's package, by file name without suffix ("DejaVuSans-Bold")."""
    return package_folder("matplotlib") / "mpl-data" / "fonts" / "ttf" / f"{file_name}.ttf"


def music_font(cache_dir: Path) -> Path:
    """The music font as a TrueType or OpenType file, made in `cache_dir` at the first call."""
    made = cache_dir / f"{MUSIC_FONT}.ttf"
    if not made.exists():
        cache_dir.mkdir(parents=True, exist_ok=True)
        part = made.with_suffix(f".part{os.getpid()}")
        _unpack_music_font(part)
        part.replace(made)
    return made


def _unpack_music_font(target: Path) -> None:
    import io

    from fontTools.ttLib import TTFont

    css = (package_folder("verovio") / "data" / f"{MUSIC_FONT}.css").read_text("utf-8")
    found = _EMBEDDED.search(css)
    if found is None:
        raise FileNotFoundError(f"verovio's package carries no {MUSIC_FONT} font")
    font = TTFont(io.BytesIO(base64.b64decode(found[1])))
    font.flavor = None
    font.save(target)
