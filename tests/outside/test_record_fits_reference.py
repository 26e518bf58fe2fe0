"""Do studentised residuals of records agree with published data and a general reference program?

Reference: R 4.2.2, `rstandard(lm())` of base R; for mixed models residual / (sigma sqrt(1 - h)) with `hatvalues` of
lme4 1.1.31.
"""

from __future__ import annotations

import pytest
from trial_tables import needs_checks, outside

from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Array, Model, RandomTerm

# Brownlee 1965 Statistical Theory and Methodology in Science and Engineering p.454: stack loss of an ammonia plant.
AIR = [80, 80, 75, 62, 62, 62, 62, 62, 58, 58, 58, 58, 58, 58, 50, 50, 50, 50, 50, 56, 70]
WATER = [27, 27, 25, 24, 22, 23, 24, 24, 23, 18, 18, 17, 18, 19, 18, 18, 19, 19, 20, 20, 20]
ACID = [89, 88, 90, 87, 87, 87, 93, 93, 87, 80, 89, 88, 82, 93, 89, 86, 72, 79, 80, 82, 91]
LOSS = [42, 37, 37, 28, 18, 18, 19, 20, 15, 14, 14, 13, 11, 12, 8, 7, 8, 8, 9, 15, 15]
# R: rstandard(lm(stack.loss ~ ., stackloss))
STANDARDISED = [
    1.1933392878675, -0.7158030434165, 1.5460204390998, 1.8818160220034, -0.5420838858185, -0.9652568149983,
    -0.8337771468303, -0.4848420612980, -1.0455296159206, 0.4368320323457, 0.8842575731219, 0.9685738252224,
    -0.4798729004417, -0.0174715288632, 0.8092065754177, 0.2993545108139, -0.6112104041235, -0.1531503758097,
    -0.2030218987668, 0.4539774367107, -2.6382199811638,
]  # fmt: skip


def studentised(data: dict[str, list[object]], model: Model) -> Array:
    told = fit_mixed_model(data, model).records
    assert told is not None
    return told.studentised


def test_studentised_when_a_plain_regression_then_base_r() -> None:
    data: dict[str, list[object]] = {"air": [*AIR], "water": [*WATER], "acid": [*ACID], "loss": [*LOSS]}
    model = Model("loss", (("air",), ("water",), ("acid",)), numeric=("air", "water", "acid"))
    # The residual variance is climbed to, so it is good to about 1e-9.
    assert studentised(data, model) == pytest.approx(STANDARDISED, rel=1e-6)


@needs_checks
def test_studentised_when_plates_and_samples_are_crossed_then_lme4() -> None:
    data = outside("lme4_Penicillin.csv")
    found = studentised(data, Model("diameter", (), (RandomTerm(("plate",)), RandomTerm(("sample",)))))
    # lme4 stops its climb at about 1e-6 of a variance.
    assert found[:6] == pytest.approx([2.094581, 0.472430, 0.576785, -1.374338, -1.542226, 0.458822], rel=1e-4)
    assert (found.min(), found.max(), found.argmax()) == (
        pytest.approx(-2.311373, rel=1e-4),
        pytest.approx(3.312247, rel=1e-4),
        136,
    )


@needs_checks
def test_studentised_when_sleepers_have_their_own_level_then_lme4() -> None:
    data = outside("lme4_sleepstudy.csv")
    found = studentised(data, Model("Reaction", (("Days",),), (RandomTerm(("Subject",)),), numeric=("Days",)))
    assert found[:5] == pytest.approx([-1.455983, -1.496645, -2.117474, -0.072969, 0.772716], rel=1e-4, abs=1e-5)
    assert (found.argmax(), found.max()) == (56, pytest.approx(4.469043, rel=1e-4))
