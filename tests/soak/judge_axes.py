"""How often is an axis of pure noise called real, and how often is a planted one found?

Not collected by pytest: `python -m tests.soak.judge_axes` prints the tables of `docs/stability-and-ability.md`.
"""

from __future__ import annotations

import numpy as np

from firstsilk.science.analysis.axes import check_axes, find_ammi_axes, find_gge_axes
from firstsilk.science.analysis.two_way import TwoWayTable

SIZES = ((7, 5), (30, 8))
LEVEL = 0.05
TABLES, DRAWS = 2_000, 500


def table_of(means: np.ndarray) -> TwoWayTable:
    g, e = means.shape
    names = tuple(map(str, range(g))), tuple(map(str, range(e)))
    return TwoWayTable(*names, means, np.zeros(means.shape, dtype=bool))


def count_false_axes(kind: str, g: int, e: int) -> tuple[float, float]:
    """Share of tables without pattern whose first axis is called real: by drawing, by Gollob with the true error."""
    dice = np.random.default_rng(5)
    drawn = gollob = 0
    for _ in range(TABLES):
        means = 20 + dice.normal(size=(g, e)) + (kind == "ammi") * dice.normal(0, 3, (g, 1))
        axes = find_ammi_axes(table_of(means)) if kind == "ammi" else find_gge_axes(table_of(means))
        (one,) = check_axes(axes, kind, dice, DRAWS, 1, 1.0, 1e6)
        drawn += one.p < LEVEL
        gollob += one.p_f < LEVEL
    return drawn / TABLES, gollob / TABLES


def count_kept_axes(strength: float, g: int, e: int) -> list[float]:
    """Share of tables with two planted axes of which none, one, two, or more are kept."""
    dice = np.random.default_rng(6)
    kept = np.zeros(4)
    for _ in range(TABLES // 4):
        left, right = np.linalg.qr(dice.normal(size=(g, 2)))[0], np.linalg.qr(dice.normal(size=(e, 2)))[0]
        noise = np.sqrt(g) + np.sqrt(e)
        means = dice.normal(size=(g, e)) + strength * noise * (left * [1.5, 1.0]) @ right.T
        tests = check_axes(find_ammi_axes(table_of(means)), "ammi", dice, DRAWS, 4)
        count = next((at for at, one in enumerate(tests) if one.p is None or one.p >= LEVEL), len(tests))
        kept[min(count, 3)] += 1
    return list(kept / kept.sum())


def main() -> None:
    print(f"pure noise, level {LEVEL}, {TABLES} tables, {DRAWS} draws: called real by drawing, by Gollob")
    for kind in ("ammi", "gge"):
        for g, e in SIZES:
            drawn, gollob = count_false_axes(kind, g, e)
            print(f"{kind} {g} x {e}: {drawn:.3f} {gollob:.3f}")
    print(f"two planted axes, {TABLES // 4} tables: none, one, two, more kept; strength of the second over noise's own")
    for strength in (0.5, 1.0, 1.5):
        for g, e in SIZES:
            print(f"{strength} {g} x {e}: " + " ".join(f"{share:.3f}" for share in count_kept_axes(strength, g, e)))


if __name__ == "__main__":
    main()
