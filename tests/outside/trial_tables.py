"""Small published trials, typed in with their sources, and the way to larger ones kept outside the project."""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import numpy as np
import pytest

Columns = dict[str, list[object]]

# John & Williams 1995 Cyclic and Computer Generated Designs p.146: oats, t/ha, 24 entries, 3 x 6 blocks of 4.
OATS_ALPHA = """
1,1,G11=4.1172,G04=4.4461,G05=5.8757,G22=4.5784
1,2,G21=4.654,G10=4.1736,G20=4.0141,G02=4.335
1,3,G23=4.2323,G14=4.7572,G16=4.4906,G18=3.9737
1,4,G13=4.253,G03=3.342,G19=4.7269,G08=4.9989
1,5,G17=4.7876,G15=5.0902,G07=4.1505,G01=5.1202
1,6,G06=4.7085,G12=5.256,G24=4.9577,G09=3.3986
2,1,G08=3.9926,G20=3.6056,G14=4.5294,G04=4.3599
2,2,G24=3.9039,G15=4.9114,G03=3.7999,G23=4.3042
2,3,G12=5.3127,G11=5.1163,G21=5.3802,G17=5.0744
2,4,G05=5.1202,G09=4.2955,G10=4.9057,G01=5.7161
2,5,G02=5.1566,G18=5.0988,G13=5.484,G22=5.0969
2,6,G19=5.3148,G07=4.6297,G06=5.1751,G16=5.3024
3,1,G11=3.9205,G01=4.6512,G14=4.3887,G19=4.5552
3,2,G02=4.051,G15=4.6783,G09=3.1407,G08=3.9821
3,3,G17=4.3234,G18=4.2486,G04=4.396,G06=4.2474
3,4,G12=4.1746,G13=4.7512,G10=4.0875,G23=3.8721
3,5,G21=4.413,G22=4.2397,G16=4.3852,G24=3.5655
3,6,G03=2.8873,G05=4.1972,G20=3.7349,G07=3.6096
"""

# Burgueno et al. 2000, guide to spatial analysis, p.26: wheat, 16 entries, 3 replicates of 4 blocks of 4.
WHEAT_ALPHA = """
1,1,G16=2556,G01=1361,G06=1567,G10=1797
1,2,G11=2753,G04=2089,G15=2531,G05=3144
1,3,G12=2189,G03=1864,G02=1400,G07=1006
1,4,G14=1336,G13=967,G08=1417,G09=1450
2,5,G04=1481,G03=1058,G16=1050,G09=1264
2,6,G02=467,G08=625,G06=956,G15=1661
2,7,G11=1086,G10=847,G12=500,G13=336
2,8,G05=867,G01=419,G14=967,G07=561
3,9,G09=1125,G10=2183,G14=1325,G02=228
3,10,G07=453,G16=383,G15=1447,G11=1581
3,11,G03=1542,G08=1106,G12=1742,G05=1583
3,12,G06=767,G01=1200,G04=1886,G13=1758
"""

# Davies 1947 Statistical Methods in Research and Production p.109 and p.129 (simulated): six batches of five.
DYE = """1545 1440 1440 1520 1580 1540 1555 1490 1560 1495 1595 1550 1605 1510 1560
1445 1440 1595 1465 1545 1595 1630 1515 1635 1625 1520 1455 1450 1480 1445"""
DYE_SIMULATED = """7.298 3.846 2.434 9.566 7.99 5.22 6.556 0.608 11.788 -0.892 0.11 10.386 13.434 5.51 8.166
2.212 4.852 7.092 9.288 4.98 0.282 9.014 4.458 9.446 7.198 1.722 4.782 8.106 0.758 3.758"""

# Mrode 2014 Linear Models for the Prediction of Animal Breeding Values, 3rd ed., Table 3.1
# (calf, sex, sire, dam, gain).
CALVES = "4,M,1,,4.5 5,F,3,2,2.9 6,F,1,2,3.9 7,M,4,5,3.5 8,M,3,6,5.0"

# Mrode 2014, Example 4.1 p.62-64 (cow, sire, dam, parity, herd-year-season, fat).
COWS = """4,1,2,1,1,201 4,1,2,2,3,280 5,3,2,1,1,150 5,3,2,2,4,200 6,1,5,1,2,160
6,1,5,2,3,190 7,3,4,1,1,180 7,3,4,2,3,250 8,1,7,1,2,285 8,1,7,2,4,300"""

# Besag & Higdon 1999 J. R. Statist. Soc. B 61:691, data set of 64 corn hybrids in six counties: covariance (divisor 63)
# of the hybrids' means between counties, lower triangle.
CORN_COVARIANCE = """
113.10534
32.70343,127.66482
44.68859,63.24554,158.49114
29.76214,40.63754,53.66637,114.85176
67.76591,60.07311,67.13966,42.52688,128.15308
27.38020,48.70556,13.64296,24.86676,23.17161,154.06870
"""

# Yan & Kang 2002 GGE Biplot Analysis p.59: winter wheat, t/ha, 18 entries at 9 sites of 1993.
WINTER_WHEAT_SITES = "BH93,EA93,HW93,ID93,KE93,NN93,OA93,RN93,WP93"
WINTER_WHEAT = """
Ann,4.46,4.15,2.849,3.084,5.94,4.45,4.351,4.039,2.672
Ari,4.417,4.771,2.912,3.506,5.699,5.152,4.956,4.386,2.938
Aug,4.669,4.578,3.098,3.46,6.07,5.025,4.73,3.9,2.621
Cas,4.732,4.745,3.375,3.904,6.224,5.34,4.226,4.893,3.451
Del,4.39,4.603,3.511,3.848,5.773,5.421,5.147,4.098,2.832
Dia,5.178,4.475,2.99,3.774,6.583,5.045,3.985,4.271,2.776
Ena,3.375,4.175,2.741,3.157,5.342,4.267,4.162,4.063,2.032
Fun,4.852,4.664,4.425,3.952,5.536,5.832,4.168,5.06,3.574
Ham,5.038,4.741,3.508,3.437,5.96,4.859,4.977,4.514,2.859
Har,5.195,4.662,3.596,3.759,5.937,5.345,3.895,4.45,3.3
Kar,4.293,4.53,2.76,3.422,6.142,5.25,4.856,4.137,3.149
Kat,3.151,3.04,2.388,2.35,4.229,4.257,3.384,4.071,2.103
Luc,4.104,3.878,2.302,3.718,4.555,5.149,2.596,4.956,2.886
Reb,4.375,4.701,3.655,3.592,6.189,5.141,3.933,4.208,2.925
Ron,4.94,4.698,2.95,3.898,6.063,5.326,4.302,4.299,3.031
Rub,3.786,4.969,3.379,3.353,4.774,5.304,4.322,4.858,3.382
Zav,4.238,4.654,3.607,3.914,6.641,4.83,5.014,4.363,3.111
m12,3.34,3.854,2.419,2.783,4.629,5.09,3.281,3.918,2.561
"""


def alpha_trial(text: str) -> Columns:
    """Columns rep, block, gen, yield from lines ``rep,block,entry=yield,...``."""
    data: Columns = {"rep": [], "block": [], "gen": [], "yield": []}
    for line in text.split():
        rep, block, *plots = line.split(",")
        for plot in plots:
            entry, _, value = plot.partition("=")
            for name, cell in (("rep", f"R{rep}"), ("block", f"B{block}"), ("gen", entry), ("yield", float(value))):
                data[name].append(cell)
    return data


def wheat_grid() -> Columns:
    """The wheat trial with the place of each plot: two blocks of four beside each other make one field row of eight."""
    data = alpha_trial(WHEAT_ALPHA)
    at = [(k // 4, k % 4) for k in range(48)]
    return {**data, "row": [1 + block // 2 for block, _ in at], "col": [1 + 4 * (block % 2) + k for block, k in at]}


def corn_means() -> Columns:
    """Means of 64 entries in six counties whose covariance is that of the published ones, and which add up to 0."""
    rows = [[float(cell) for cell in line.split(",")] for line in CORN_COVARIANCE.split()]
    lower = np.array([row + [0.0] * (6 - len(row)) for row in rows])
    S = lower + lower.T - np.diag(np.diag(lower))
    plain = np.random.default_rng(6).normal(size=(64, 6))
    plain -= plain.mean(axis=0)
    made = plain @ np.linalg.inv(np.linalg.cholesky(plain.T @ plain / 63)).T @ np.linalg.cholesky(S).T
    cells = [(i, j) for i in range(64) for j in range(6)]
    return {
        "gen": [f"H{i + 1:02d}" for i, _ in cells],
        "county": [f"C{j + 1}" for _, j in cells],
        "mean": [float(made[cell]) for cell in cells],
    }


def winter_wheat() -> Columns:
    """Columns gen, env, yield."""
    data: Columns = {"gen": [], "env": [], "yield": []}
    for line in WINTER_WHEAT.split():
        entry, *values = line.split(",")
        for site, value in zip(WINTER_WHEAT_SITES.split(","), values, strict=True):
            for name, cell in (("gen", entry), ("env", site), ("yield", float(value))):
                data[name].append(cell)
    return data


def batches(text: str) -> Columns:
    """Columns batch, yield: six batches of five."""
    values = [float(value) for value in text.split()]
    return {"batch": [f"B{at // 5 + 1}" for at in range(30)], "yield": list(values)}


def table(text: str, *names: str) -> Columns:
    """Columns from comma-separated records set apart by blanks."""
    rows = [record.split(",") for record in text.split()]
    return {name: [row[at] for row in rows] for at, name in enumerate(names)}


def _checks() -> Path | None:
    named = os.environ.get("FIRSTSILK_CHECKS")
    folder = Path(named) if named else Path(__file__).parents[2].parent / "shared" / "checks"
    return folder if (folder / "data").is_dir() else None


CHECKS = _checks()
needs_checks = pytest.mark.skipif(
    CHECKS is None, reason="the data sets are not here; name their folder in FIRSTSILK_CHECKS"
)


@cache
def _rows(name: str) -> list[dict[str, str]]:
    assert CHECKS is not None
    return list(csv.DictReader(io.StringIO((CHECKS / "data" / name).read_text(encoding="utf-8"))))


def outside(name: str, **only: str) -> Columns:
    """The columns of a data set kept outside the project, or those of its records with the given values."""
    rows = [row for row in _rows(name) if all(row[key] == value for key, value in only.items())]
    return {column: [row[column] for row in rows] for column in rows[0]}


@cache
def all_references() -> list[Mapping[str, object]]:
    """All reference values, each with dataset, model, quantity, value and tool; none where they are not at hand."""
    if CHECKS is None:
        return []
    records: list[Mapping[str, object]] = json.loads((CHECKS / "reference.json").read_text(encoding="utf-8"))["records"]
    return records


def reference(dataset: str, model: str) -> dict[str, float]:
    """The reference values of the one data set and model whose texts begin so, by quantity."""
    found = [r for r in all_references() if str(r["dataset"]).startswith(dataset) and str(r["model"]).startswith(model)]
    assert len({str(r["model"]) for r in found}) == 1, "the texts must name one model"
    return {str(r["quantity"]): float(str(r["value"])) for r in found}
