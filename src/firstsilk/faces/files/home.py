"""Where do the books of a station on this machine lie?"""

from __future__ import annotations

import os
from pathlib import Path


def find_home() -> Path:
    """The folder that FIRSTSILK_HOME names, or ``firstsilk-station`` in the user's home folder."""
    return Path(os.environ.get("FIRSTSILK_HOME") or Path.home() / "firstsilk-station").absolute()
