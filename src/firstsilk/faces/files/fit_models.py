"""How does a mixed model get in from a TOML file?"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from firstsilk.answers import InputRefused
from firstsilk.faces.files.relationships import read_covariance, read_relationship
from firstsilk.science.analysis.models import Model, RandomTerm, Residual, Surface

_T = TypeVar("_T")

TOP = ("response", "fixed", "numeric", "sum_coded", "weights", "genotype", "random", "surface", "residual")
RANDOM = ("columns", "relationship", "variance_by", "factors", "variance")
SURFACE = ("grid", "knots", "within")
RESIDUAL = ("variance_by", "grid", "within", "nugget", "together", "covariance", "variance")


@dataclass(frozen=True, slots=True)
class _Words:
    """A part of the file with the keys it may hold; complaints name file and key."""

    file: str
    part: str
    values: Mapping[str, object]

    def wrong(self, key: str, what: str) -> InputRefused:
        where = f"{self.part}.{key}" if self.part else key
        return InputRefused(f"{self.file}: key {where!r} {what}.")

    def check(self, known: Sequence[str]) -> None:
        for key in self.values:
            if key not in known:
                raise self.wrong(key, f"is not known; known here are {', '.join(known)}")

    def text(self, key: str) -> str | None:
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, str) or not value.strip():
            raise self.wrong(key, f'must be one name in quotes, such as {key} = "yield"')
        return value.strip()

    def number(self, key: str) -> float | None:
        value = self.values.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < float("inf"):
            raise self.wrong(key, f"must be a number of 0 or more (found: {value!r})")
        return float(value)

    def count(self, key: str) -> int:
        value = self.values.get(key, 0)
        if isinstance(value, bool) or not isinstance(value, int) or value < 0:
            raise self.wrong(key, f"must be a whole number of 0 or more (found: {value!r})")
        return value

    def counts(self, key: str) -> tuple[int, ...]:
        value = self.values.get(key, [])
        if not isinstance(value, list) or any(isinstance(one, bool) or not isinstance(one, int) for one in value):
            raise self.wrong(key, f"must be a list of whole numbers, such as [12, 10] (found: {value!r})")
        return tuple(value)

    def choice(self, key: str) -> bool:
        value = self.values.get(key, False)
        if not isinstance(value, bool):
            raise self.wrong(key, f"must be true or false (found: {value!r})")
        return value

    def names(self, key: str) -> tuple[str, ...]:
        return self.as_names(key, self.values.get(key, []))

    def as_names(self, key: str, value: object) -> tuple[str, ...]:
        if not isinstance(value, list) or not all(isinstance(name, str) and name.strip() for name in value):
            raise self.wrong(key, f'must be a list of column names, such as ["environment"] (found: {value!r})')
        return tuple(name.strip() for name in value)


def read_model(path: str | Path, n_records: int) -> Model:
    """Read a mixed model, with the relationship and covariance files it names.

    Parameters
    ----------
    path
        The TOML file. Files it names are looked for beside it, then in the folder worked in.
    n_records
        How many records the table has, for the size of a known covariance.

    Raises
    ------
    InputRefused
        If the file cannot be read, a key is unknown or has a value of the wrong kind.
    """
    path = Path(path)
    words = _Words(path.name, "", _load(path))
    words.check(TOP)
    response = words.text("response")
    if response is None:
        raise InputRefused(f"{path.name}: key 'response' is missing. Name the column to explain: response = \"yield\".")
    fixed = words.values.get("fixed", [])
    if not isinstance(fixed, list) or not all(isinstance(term, list) for term in fixed):
        raise words.wrong(
            "fixed", 'must be a list of lists, one for each term: [["environment"], ["nitrogen", "variety"]]'
        )
    if any(not term for term in fixed):
        raise words.wrong("fixed", "has an empty term; the intercept needs none: leave it out")
    model = Model(
        response,
        tuple(words.as_names("fixed", term) for term in fixed),
        tuple(_random(path, part) for part in _parts(words, "random")),
        _residual(path, words, n_records),
        words.names("numeric"),
        words.names("sum_coded"),
        words.text("weights"),
        words.text("genotype"),
        tuple(_surface(part) for part in _parts(words, "surface")),
    )
    _check(words, model)
    return model


def model_columns(model: Model) -> tuple[set[str], set[str]]:
    """The columns that a model takes as numbers, and those it takes as classes (without the response)."""
    names = {name for term in model.fixed for name in term} | {*model.numeric, *model.sum_coded}
    for term in model.random:
        names |= {*term.columns, *([term.variance_by] if term.variance_by else [])}
    residual = model.residual
    names |= {name for name in (residual.variance_by, residual.within, residual.together, model.genotype) if name}
    names |= {surface.within for surface in model.surfaces if surface.within}
    numbers = set(model.numeric) | ({model.weights} if model.weights else set())
    # A column of positions may be a class elsewhere in the model; then it is read as text and counted as a number.
    grids = {name for surface in model.surfaces for name in surface.grid} | set(residual.grid or ())
    return numbers | (grids - names), names - set(model.numeric)


def _load(path: Path) -> dict[str, object]:
    if not path.is_file():
        raise InputRefused(f"{path.name}: there is no such file. Check the name and the folder.")
    try:
        return tomllib.loads(path.read_bytes().decode("utf-8"))
    except UnicodeDecodeError:
        raise InputRefused(f"{path.name}: this is not UTF-8 text. Save it as UTF-8 and try again.") from None
    except tomllib.TOMLDecodeError as error:
        raise InputRefused(f"{path.name}: this cannot be read as TOML: {error}.") from None


def _parts(words: _Words, key: str) -> list[_Words]:
    found = words.values.get(key, [])
    if not isinstance(found, list) or not all(isinstance(part, dict) for part in found):
        raise words.wrong(key, f"must be written as [[{key}]], once for each term")
    return [_Words(words.file, key, part) for part in found]


def _random(path: Path, words: _Words) -> RandomTerm:
    words.check(RANDOM)
    columns = words.names("columns")
    if not columns:
        raise words.wrong("columns", 'is missing; name the columns of the term: columns = ["line"]')
    relationship = _beside(path, words, "relationship", read_relationship)
    known = words.number("variance")
    return RandomTerm(columns, relationship, words.text("variance_by"), known, words.count("factors"))


def _surface(words: _Words) -> Surface:
    words.check(SURFACE)
    grid, knots = words.names("grid"), words.counts("knots")
    if not grid:
        raise words.wrong("grid", 'is missing; name the columns of positions: grid = ["field_row", "field_col"]')
    if len(knots) != len(grid):
        raise words.wrong("knots", f"must have a whole number for each of {', '.join(grid)}, such as [12, 10]")
    return Surface(grid, knots, words.text("within"))


def _residual(path: Path, words: _Words, n_records: int) -> Residual:
    found = words.values.get("residual", {})
    if not isinstance(found, dict):
        raise words.wrong("residual", "must be written as [residual]")
    part = _Words(words.file, "residual", found)
    part.check(RESIDUAL)
    covariance = _beside(path, part, "covariance", lambda file: read_covariance(file, n_records))
    grid = part.names("grid") or None
    return Residual(
        part.text("variance_by"), covariance, part.number("variance"), grid, part.text("within"), part.choice("nugget"),
        part.text("together"),
    )  # fmt: skip


def _beside(path: Path, words: _Words, key: str, read: Callable[[Path], _T]) -> _T | None:
    name = words.text(key)
    if name is None:
        return None
    beside = path.parent / name
    return read(beside if beside.is_file() else Path(name))


def _check(words: _Words, model: Model) -> None:
    both = sorted(set(model.numeric) & set(model.sum_coded))
    if both:
        raise words.wrong("sum_coded", f"names {both[0]!r}, which is also numeric: a column is one or the other")
    if model.response in {name for term in model.fixed for name in term} | {c for t in model.random for c in t.columns}:
        raise words.wrong("response", f"names {model.response!r}, which also explains: take it out of the terms")
    if model.genotype in model.numeric:
        raise words.wrong("genotype", "must be a class column, not a numeric one")
