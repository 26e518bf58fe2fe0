"""Which doors are not built yet? They say so, with exit 1, and pretend nothing."""

from __future__ import annotations

from typing import Annotated, NoReturn

import typer

from firstsilk.answers import NotBuilt

Rest = Annotated[list[str] | None, typer.Argument(help="Whatever this door will take once it is built.")]


def _not_built(door: str) -> NoReturn:
    raise NotBuilt(f"firstsilk {door}: not built yet.")


def merit(rest: Rest = None) -> None:
    """Not built yet."""
    _not_built("merit")
