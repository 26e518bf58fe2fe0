"""How does a mixed model get in from a TOML file?"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from firstsilk.answers import InputRefused, NotBuilt
from firstsilk.faces.files.relationships import read_covariance, read_relationship
from firstsilk.science.analysis.models import Model, RandomTerm, Residual

_T = TypeVar("_T")

TOP = ("response", "fixed", "numeric", "sum_coded", "weights", "genotype", "random", "surface", "residual")
RANDOM = ("columns", "relationship", "variance_by", "factors", "variance")
RESIDUAL = ("variance_by", "grid", "within", "nugget", "covariance", "variance")
NOT_BUILT = {"random": ("factors",), "residual": ("grid", "within", "nugget")}


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
            if key in NOT_BUILT.get(self.part, ()) or (not self.part and key == "surface"):
                raise NotBuilt(f"{self.file}: key {f'{self.part}.{key}'.lstrip('.')!r} is not built yet.")
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
    NotBuilt
        If a key is known but its room is not built yet.
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
    )
    _check(words, model)
    return model


def model_columns(model: Model) -> tuple[set[str], set[str]]:
    """The columns that a model takes as numbers, and those it takes as classes (without the response)."""
    names = {name for term in model.fixed for name in term} | {*model.numeric, *model.sum_coded}
    for term in model.random:
        names |= {*term.columns, *([term.variance_by] if term.variance_by else [])}
    names |= {name for name in (model.residual.variance_by, model.genotype) if name}
    numbers = set(model.numeric) | ({model.weights} if model.weights else set())
    return numbers, names - set(model.numeric)


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
    return RandomTerm(columns, relationship, words.text("variance_by"), words.number("variance"))


def _residual(path: Path, words: _Words, n_records: int) -> Residual:
    found = words.values.get("residual", {})
    if not isinstance(found, dict):
        raise words.wrong("residual", "must be written as [residual]")
    part = _Words(words.file, "residual", found)
    part.check(RESIDUAL)
    covariance = _beside(path, part, "covariance", lambda file: read_covariance(file, n_records))
    return Residual(part.text("variance_by"), covariance, part.number("variance"))


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
