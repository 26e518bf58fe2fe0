"""How do pictures get into files: as SVG, and beside each the specification it was drawn from?"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import say
from firstsilk.faces.pictures.look import Spec, complete, draw_svg


def check_folder(folder: str) -> str:
    """The name of a folder for pictures, looked at before any work is done; it is made if it is not there.

    Raises
    ------
    InputRefused
        If it is a file, or no file can be written in it.
    """
    if not folder:
        return folder
    path = Path(folder)
    if path.exists() and not path.is_dir():
        raise refuse("folder_is_file", f"{folder}: this is no folder.", "Name a folder for the pictures.")
    try:
        path.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=path):
            pass
    except (OSError, ValueError) as fault:
        why = fault.strerror if isinstance(fault, OSError) else "no name of a folder"
        told = f"{folder}: no picture can be written there: {why}."
        raise refuse("folder_not_writable", told, "Name another folder.") from None
    return folder


def write_pictures(folder: str, pictures: Mapping[str, Spec]) -> None:
    """Write each picture as ``<name>.svg`` and its specification as ``<name>.vl.json``; all are drawn before any is."""
    drawn = {name: (draw_svg(spec), json.dumps(complete(spec), indent=1)) for name, spec in pictures.items()}
    for name, (svg, text) in drawn.items():
        _put(Path(folder, f"{name}.svg"), svg)
        _put(Path(folder, f"{name}.vl.json"), text + "\n")
    say(f"{folder}: {len(drawn)} pictures ({', '.join(drawn)}).")


def _put(path: Path, text: str) -> None:
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
