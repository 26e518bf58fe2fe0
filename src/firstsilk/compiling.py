"""Where does numba keep the code it compiled, so that only the first run on a machine waits for it?

Decided here and nowhere else, when `firstsilk` is imported; numba itself is not imported for it.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path

SETTING = "NUMBA_CACHE_DIR"
FOLDER = "compiled"
"""Name of the folder in the station's home."""


def choose_compiled_folder(
    environment: Mapping[str, str], package: Path, can_write: Callable[[Path], bool]
) -> Path | None:
    """Choose the folder for compiled code; None leaves it to numba.

    Parameters
    ----------
    environment
        The environment; a `NUMBA_CACHE_DIR` that was set is kept.
    package
        The folder of this package.
    can_write
        Whether files can be made in a folder.

    Returns
    -------
    Path or None
        None where numba's own choice works: beside the source, or in the user's cache folder. A read-only install
        takes ``compiled`` in the station's home if that is there. Where nothing can be written a new folder of this
        process in the temporary folder: its name cannot be guessed, since numba runs what it finds in it.

    Notes
    -----
    Checked by ``tests/science/test_compiled_folder.py``.
    """
    if environment.get(SETTING) or can_write(package):
        return None
    home = environment.get("FIRSTSILK_HOME", "")
    if home and can_write(Path(home)):
        return Path(home).absolute() / FOLDER
    user = environment.get("HOME") or environment.get("USERPROFILE") or ""
    if user and can_write(Path(user)):
        return None
    import secrets
    import tempfile

    return Path(tempfile.gettempdir()) / f"firstsilk-compiled-{secrets.token_hex(8)}"


def place_compiled_code() -> None:
    """Tell numba where to keep compiled code, where its own choice would not work."""
    folder = choose_compiled_folder(os.environ, Path(__file__).parent, _can_write)
    if folder is not None:
        os.environ[SETTING] = str(folder)


def _can_write(folder: Path) -> bool:
    return folder.is_dir() and os.access(folder, os.W_OK)
