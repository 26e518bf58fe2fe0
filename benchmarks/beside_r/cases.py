"""Which fits are timed, beside which program, and how fast should they be?

Importing this module does not import the engine, so that a process can first see to its settings.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .pedigree import lay_related_year, related_model
from .simulating import Data, lay_first_year, lay_ground, lay_series, lay_strip

if TYPE_CHECKING:
    from firstsilk.science.analysis.models import Model, RandomTerm

NUMBERS = frozenset({"y", "tested"})


@dataclass(frozen=True, slots=True)
class Peer:
    """Another program: its name, its script and that script's words; run in each turn, or `once`.

    One that is not timed gives a criterion only.
    """

    name: str
    script: str
    words: tuple[str, ...] = ()
    timed: bool = True
    once: bool = False


@dataclass(frozen=True, slots=True)
class Bar:
    """What should be reached.

    `measure`: `times` (peer's seconds / ours), `memory` (our peak / the peer's), `seconds`, `evaluations`, or `beside`
    (our seconds / those of the case `other`). Only of `times` is more better.
    """

    measure: str
    gate: float
    target: float
    stretch: float | None = None
    other: str = ""


@dataclass(frozen=True, slots=True)
class Case:
    """One fit: its records, a small set to warm up with, the model, and what should be reached."""

    name: str
    size: str
    lay: Callable[[], Data]
    small: Callable[[], Data]
    model: Callable[[], Model]
    bars: tuple[Bar, ...]
    peers: tuple[Peer, ...] = ()
    same_model: bool = True


def _terms(*names: str) -> tuple[RandomTerm, ...]:
    from firstsilk.science.analysis.models import RandomTerm

    return tuple(RandomTerm(tuple(name.split(":"))) for name in names)


def series_model(by_site: bool) -> Model:
    """Sites fixed; lines, lines at sites, replicates and blocks random."""
    from firstsilk.science.analysis.models import Model, Residual

    residual = Residual("site") if by_site else Residual()
    return Model("y", (("site",),), _terms("line", "line:site", "rep", "block"), residual)


def nested_model(by_site: bool) -> Model:
    """Replicates fixed; lines and lines at sites random."""
    from firstsilk.science.analysis.models import Model, Residual

    return Model("y", (("rep",),), _terms("line", "line:site"), Residual("site") if by_site else Residual())


def first_year_model(by_site: bool) -> Model:
    """Sites and groups of checks fixed; lines (not checks), all at sites, and blocks random."""
    from firstsilk.science.analysis.models import Model, Residual

    residual = Residual("site") if by_site else Residual()
    terms = _terms("line:tested", "line:site", "block")
    return Model("y", (("site",), ("group",)), terms, residual, ("tested",))


def strip_model() -> Model:
    """Lines random; neighbours along a strip correlated, beside an error of each plot."""
    from firstsilk.science.analysis.models import Model, Residual

    return Model("y", (), _terms("line"), Residual(grid=("strip", "place"), nugget=True))


def ground_model() -> Model:
    """Lines random; neighbours along rows and columns correlated, beside an error of each plot."""
    from firstsilk.science.analysis.models import Model, Residual

    return Model("y", (), _terms("line"), Residual(grid=("field_row", "field_col"), nugget=True))


def surface_model() -> Model:
    """Lines random over a smooth trend."""
    from firstsilk.science.analysis.models import Model, Surface

    surface = Surface(("field_row", "field_col"), (12, 10))
    return Model("y", (), _terms("line"), surfaces=(surface,), numeric=("field_row", "field_col"))


def lmer(kind: str) -> tuple[Peer, ...]:
    """Both optimisers; the default one is timed, and the better criterion of the two counts."""
    return (
        Peer("lme4 nloptwrap", "r/lme4.R", (kind, "nloptwrap")),
        Peer("lme4 bobyqa", "r/lme4.R", (kind, "bobyqa"), timed=False, once=True),
    )


def glmmtmb(kind: str) -> tuple[Peer, ...]:
    """With standard errors."""
    return (Peer("glmmTMB", "r/glmmtmb.R", (kind,)),)


def _small_series() -> Data:
    # Large enough to be worked by the sparse way, as the records that count are.
    return lay_series(150, 4, 10)


def _small_first_year() -> Data:
    return lay_first_year(300, 10)


def _small_related_year() -> Data:
    return lay_related_year(300, 10)


def _at(lay: Callable[..., Data], *sizes: object) -> Callable[[], Data]:
    return lambda: lay(*sizes)


STEPS = Bar("evaluations", 20, 10, 6)
SMALL, MEDIUM = _at(lay_series, 200, 4, 10), _at(lay_series, 2_000, 8, 20)

CASES: tuple[Case, ...] = (
    Case("S, one residual", "S", SMALL, _small_series, lambda: series_model(False),
         (Bar("times", 3, 5, 15), STEPS), lmer("series")),
    Case("S, a residual by site", "S", SMALL, _small_series, lambda: series_model(True),
         (Bar("times", 12, 30, 60), STEPS), glmmtmb("series")),
    Case("S, one residual, beside statsmodels", "S", SMALL, _small_series, lambda: series_model(False),
         (Bar("times", 300, 1_000),), (Peer("statsmodels", "statsmodels_fit.py", ("series",), once=True),)),
    Case("strip of 1,200 plots, neighbours correlated, nugget", "S", _at(lay_strip, 1_200), _at(lay_strip, 1_200),
         strip_model, (Bar("times", 3, 6, 10),), glmmtmb("strip")),
    Case("field of 40 x 30, neighbours correlated both ways, nugget", "S", _at(lay_ground, 40, 30, False),
         _at(lay_ground, 40, 30, False), ground_model, (Bar("seconds", 0.3, 0.1, 0.05),)),
    Case("field of 40 x 30, smooth trend of 12 x 10 knots", "S", _at(lay_ground, 40, 30, True),
         _at(lay_ground, 40, 30, True), surface_model, (Bar("times", 10, 25),),
         (Peer("mgcv bam", "r/mgcv.R", ("12", "10")),), same_model=False),
    Case("M, one residual", "M", MEDIUM, SMALL, lambda: series_model(False),
         (Bar("times", 3, 5, 10), Bar("memory", 2, 1.4, 1), Bar("seconds", 3, 3, 1), STEPS), lmer("series")),
    Case("M, a residual by site", "M", MEDIUM, SMALL, lambda: series_model(True),
         (Bar("times", 10, 20, 40), Bar("memory", 1, 0.65, 0.5), STEPS), glmmtmb("series")),
    Case("M nested, a residual by site", "M", MEDIUM, SMALL, lambda: nested_model(True),
         (Bar("times", 60, 150, 250),), (Peer("nlme", "r/nlme.R"),)),
    Case("M nested, one residual, beside statsmodels", "M", MEDIUM, SMALL, lambda: nested_model(False),
         (Bar("times", 20, 50),), (Peer("statsmodels", "statsmodels_fit.py", ("nested",), once=True),)),
    Case("L, one residual", "L", lay_first_year, _small_first_year, lambda: first_year_model(False),
         (Bar("times", 3, 5, 8), Bar("memory", 2.2, 1.7, 1.1), STEPS), lmer("first_year")),
    Case("L, a residual by site", "L", lay_first_year, _small_first_year, lambda: first_year_model(True),
         (Bar("times", 8, 15, 25), Bar("memory", 1, 0.65, 0.4), STEPS), glmmtmb("first_year")),
    Case("L, one residual, with a pedigree of some 64,000", "L", lay_related_year, _small_related_year, related_model,
         (Bar("beside", 3, 2, 1.3, other="L, one residual"),)),
    Case("strip of 6,000 plots, neighbours correlated, nugget", "L", _at(lay_strip, 6_000), _at(lay_strip, 1_200),
         strip_model, (Bar("times", 1.5, 2.5, 5),), glmmtmb("strip")),
    Case("field of 100 x 60, neighbours correlated both ways, nugget", "L", _at(lay_ground, 100, 60, False),
         _at(lay_ground, 40, 30, False), ground_model, (Bar("seconds", 8, 3, 1.5),)),
    Case("field of 100 x 60, smooth trend of 12 x 10 knots", "L", _at(lay_ground, 100, 60, True),
         _at(lay_ground, 40, 30, True), surface_model, (Bar("times", 40, 100),),
         (Peer("mgcv bam", "r/mgcv.R", ("12", "10")),), same_model=False),
)  # fmt: skip


def find_case(name: str) -> Case:
    """The case of that name."""
    return next(case for case in CASES if case.name == name)
