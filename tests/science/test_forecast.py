"""Does a forecast say what a slow, obvious sampler of the same model says, and does it keep the laws it must keep?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from firstsilk.science.flowering.forecast import forecast_flowering
from firstsilk.science.flowering.line_tree import LineTree, gather_evidence
from firstsilk.science.flowering.rows_ahead import HeatAhead, RowsAhead

ROW_COV = np.array([[9.0, 5.0], [5.0, 9.0]])
LINE_COV = np.array([[40.0, 30.0], [30.0, 42.0]])
SEASON_COV = np.array([[25.0, 18.0], [18.0, 25.0]])
# One unit a day: a draw's day is its units, rounded up.
SO_FAR, AHEAD = np.ones(100), np.ones((1, 200))
NONE = (-1, -1)
DRAWS = 2000


def make_tree() -> LineTree:
    """A founder, a line selfed from it, another founder; two shared unknowns, the season's shift in silk and shed."""
    return LineTree(
        np.array([-1, 0, -1]),
        np.array([[110.0, 104.0], [3.0, 2.0], [118.0, 115.0]]),
        np.stack([LINE_COV, LINE_COV / 2.0, LINE_COV]),
        np.zeros((3, 2, 2)),
        np.zeros(2),
        SEASON_COV,
    )


def make_rows(lines, not_yet, seen, sown=None) -> RowsAhead:
    n = len(lines)
    return RowsAhead(
        np.array(lines, dtype=np.intp),
        np.zeros(n, dtype=np.intp) if sown is None else np.array(sown, dtype=np.intp),
        np.zeros((n, 2)),
        np.tile(np.eye(2), (n, 1, 1)),
        np.array(not_yet, dtype=np.intp),
        np.array(seen, dtype=np.intp),
        np.zeros((n, 0)),
    )


def ask(rows: RowsAhead, heat=None, history=None, row_cov=ROW_COV, draws=200, seed=1, **more):
    more.setdefault("wrong_note_frac", 0.0)
    told = heat or HeatAhead(SO_FAR, AHEAD)
    return forecast_flowering(make_tree(), history, rows, told, row_cov, 1.0, draws=draws, seed=seed, **more)


NOTED = {
    "no notes": make_rows([0, 1, 2], [NONE] * 3, [NONE] * 3),
    "not yet": make_rows([0, 1, 2, 2], [(99, 99), (99, 97), (97, -1), NONE], [NONE] * 4),
    "seen between visits": make_rows(
        [0, 1, 2, 2, 0], [(96, 92), (99, 90), (99, 99), NONE, (99, 95)], [(99, 95), (-1, 94), NONE, NONE, (-1, 98)]
    ),
    "seen at last": make_rows([0, 0, 1, 2], [(90, 86), NONE, NONE, NONE], [(93, 88), (95, -1), (-1, 96), NONE]),
    "shed alone": make_rows([0, 1, 2], [(-1, 99), NONE, (-1, 99)], [NONE, (-1, 99), NONE]),
}


def sample_slowly(rows: RowsAhead, row_cov: np.ndarray, n: int = 60_000):
    """The same model by weighing draws from its prior: weighted units (n, rows, 2), shared (n, 2), weights (n,)."""
    dice = np.random.default_rng(99)
    tree = make_tree()
    shared = dice.multivariate_normal(tree.shared_mean, tree.shared_cov, n)
    lines = np.zeros((n, 3, 2))
    for at in range(3):
        above = lines[:, tree.parent[at]] if tree.parent[at] >= 0 else 0.0
        lines[:, at] = above + dice.multivariate_normal(tree.offset[at], tree.spread[at], n)
    log_weight = np.zeros(n)
    units = np.zeros((n, len(rows.line_of), 2))
    slope = row_cov[0, 1] / row_cov[0, 0]
    left = np.sqrt(row_cov[1, 1] - slope * row_cov[0, 1])
    for at, line in enumerate(rows.line_of):
        centre = lines[:, line] + shared
        silk, chance = _cut(centre[:, 0], np.sqrt(row_cov[0, 0]), *_limits(rows, at, 0), dice)
        shed, other = _cut(centre[:, 1] + slope * (silk - centre[:, 0]), left, *_limits(rows, at, 1), dice)
        units[:, at] = np.stack([silk, shed], axis=1)
        log_weight += np.log(chance) + np.log(other)
    weight = np.exp(log_weight - log_weight.max())
    return units, shared, weight / weight.sum()


def _limits(rows: RowsAhead, at: int, organ: int) -> tuple[float, float]:
    seen, not_yet = int(rows.seen[at, organ]), int(rows.not_yet[at, organ])
    if seen >= 0:
        return (float(not_yet) if not_yet >= 0 else seen - 1.0), float(seen)
    return (float(not_yet) if not_yet >= 0 else -np.inf), np.inf


def _cut(centre, sd, low, high, dice):
    # Far out a chance is lost in 1; nothing here lies further than the draws that are weighed away.
    start, end = norm.cdf((low - centre) / sd), norm.cdf((high - centre) / sd)
    chance = np.maximum(end - start, 1e-290)
    drawn = centre + sd * norm.ppf(np.clip(start + dice.random(len(centre)) * (end - start), 1e-300, 1.0 - 1e-16))
    return np.clip(drawn, low, high), chance


@pytest.mark.parametrize("kind", NOTED)
def test_forecast_is_what_weighing_draws_from_the_prior_gives(kind):
    rows = NOTED[kind]
    told = ask(rows, draws=DRAWS)
    assert told.steady
    units, shared, weight = sample_slowly(rows, ROW_COV * told.row_spread)
    effective = 1.0 / float(np.sum(weight**2))
    assert effective > 600.0
    for organ, days in enumerate((told.silk, told.shed)):
        slow = np.ceil(units[:, :, organ] - 1e-9)
        wanted = np.einsum("d,dk->k", weight, slow)
        spread = np.sqrt(np.einsum("d,dk->k", weight, (slow - wanted) ** 2))
        noise = 4.0 * spread * (1.0 / np.sqrt(effective) + 1.0 / np.sqrt(DRAWS))
        assert (np.abs(days.mean(axis=1) - wanted) < noise + 0.04 * spread + 1e-6).all()
        assert (np.abs(days.std(axis=1) - spread) < noise + 0.04 * spread + 1e-6).all()
    mean = weight @ shared
    sd = np.sqrt(weight @ (shared - mean) ** 2)
    noise = 4.0 * sd / np.sqrt(effective)
    assert (np.abs(told.posterior.shared_mean - mean) < noise + 0.05 * sd).all()
    assert np.sqrt(np.diag(told.posterior.shared_cov)) == pytest.approx(sd, rel=0.06 + 4.0 / np.sqrt(effective))


def test_silk_and_shed_of_one_row_stay_correlated_as_in_the_slow_sampler():
    rows = NOTED["seen between visits"]
    told = ask(rows, draws=DRAWS)
    units, _, weight = sample_slowly(rows, ROW_COV * told.row_spread)
    for at in (2, 3):
        centred = units[:, at] - weight @ units[:, at]
        cov = np.einsum("d,di,dj->ij", weight, centred, centred)
        wanted = cov[0, 1] / np.sqrt(cov[0, 0] * cov[1, 1])
        assert np.corrcoef(told.silk[at], told.shed[at])[0, 1] == pytest.approx(wanted, abs=0.06)


def test_records_of_earlier_seasons_are_taken_in_exactly():
    # A normal record has a closed form: prior and record weighed by their precisions.
    own = np.array([[4.0, 1.0], [1.0, 4.0]])
    tight = np.linalg.inv(own)
    history = gather_evidence(
        3, np.array([2]), np.zeros((1, 2, 2)), tight[None], (tight @ np.array([100.0, 96.0]))[None]
    )
    told = ask(NOTED["no notes"], history=history)
    prior = np.linalg.inv(LINE_COV)
    wanted = np.linalg.solve(prior + tight, prior @ np.array([118.0, 115.0]) + tight @ np.array([100.0, 96.0]))
    assert told.posterior.mean[2] == pytest.approx(wanted)
    assert told.posterior.mean[0] == pytest.approx([110.0, 104.0])


def test_same_seed_same_bytes_and_another_seed_others():
    rows = NOTED["seen between visits"]
    one, other = ask(rows), ask(rows)
    assert one.silk.tobytes() == other.silk.tobytes()
    assert one.shed.tobytes() == other.shed.tobytes()
    assert ask(rows, seed=2).silk.tobytes() != one.silk.tobytes()


@pytest.mark.parametrize("later", [1, 9])
def test_shifting_all_days_shifts_the_forecast(later):
    rows = NOTED["seen between visits"]

    def move(days):
        return np.where(days >= 0, days + later, days)

    moved = replace(rows, sown=rows.sown + later, not_yet=move(rows.not_yet), seen=move(rows.seen))
    heat = HeatAhead(np.concatenate([np.full(later, 3.0), SO_FAR]), AHEAD)
    one, other = ask(rows), ask(moved, heat)
    assert np.array_equal(one.silk + later, other.silk, equal_nan=True)
    assert np.array_equal(one.shed + later, other.shed, equal_nan=True)


def test_the_order_of_rows_does_not_matter():
    rows = NOTED["seen between visits"]
    turned = np.array([3, 0, 4, 1, 2])
    one, other = ask(rows, draws=DRAWS), ask(_pick(rows, turned), draws=DRAWS)
    assert other.posterior.mean == pytest.approx(one.posterior.mean, abs=1e-6)
    for found, wanted in ((other.silk, one.silk[turned]), (other.shed, one.shed[turned])):
        noise = 5.0 * wanted.std(axis=1) / np.sqrt(DRAWS / 2.0) + 1e-6
        assert (np.abs(found.mean(axis=1) - wanted.mean(axis=1)) < noise).all()


def _pick(rows: RowsAhead, at: np.ndarray) -> RowsAhead:
    return RowsAhead(
        rows.line_of[at],
        rows.sown[at],
        rows.known_units[at],
        rows.design[at],
        rows.not_yet[at],
        rows.seen[at],
        rows.clock_apart[at],
    )


@settings(max_examples=25)
@given(st.lists(st.integers(80, 125), min_size=4, max_size=4), st.integers(0, 3), st.integers(0, 1), st.integers(1, 25))
def test_a_note_of_not_yet_makes_no_row_earlier(days, row, organ, more):
    not_yet = np.full((4, 2), -1)
    not_yet[:, 0] = days
    heat = HeatAhead(np.ones(160), AHEAD)
    before = ask(make_rows([0, 1, 2, 2], not_yet, [NONE] * 4), heat, draws=50)
    later = not_yet.copy()
    later[row, organ] = max(int(later[row, organ]), 80) + more
    after = ask(make_rows([0, 1, 2, 2], later, [NONE] * 4), heat, draws=50)
    # A line alone may be earlier, its season being later; the two together never, up to the steadiness of the passes.
    for line in range(3):
        need = [each.posterior.mean[line] + each.posterior.shared_mean for each in (before, after)]
        assert (need[1] >= need[0] - 0.05).all()
    assert (after.posterior.shared_mean >= before.posterior.shared_mean - 0.05).all()
    seen = (after.silk, after.shed)[organ][row]
    assert seen.min() > later[row, organ]


@settings(max_examples=25)
@given(
    st.lists(st.tuples(st.integers(70, 150), st.integers(1, 6)), min_size=4, max_size=4),
    st.lists(st.sampled_from([0.0, 0.1, 1.0, 3.0]), min_size=160, max_size=160),
    st.booleans(),
)
def test_a_row_seen_lies_between_its_looks_whatever_the_weather(looks, units, twice):
    seen = np.array([[day + wide, -1 if not twice else day] for day, wide in looks])
    not_yet = np.array([[day, -1] for day, _ in looks])
    told = ask(make_rows([0, 1, 2, 2], not_yet, seen), HeatAhead(np.array(units), AHEAD), draws=50)
    for at, (day, wide) in enumerate(looks):
        assert ((told.silk[at] > day) & (told.silk[at] <= day + wide)).all()
        if twice:
            assert (told.shed[at] == day).all()


def test_what_is_never_reached_has_no_day():
    rows = make_rows([0, 2], [NONE, (-1, 119)], [NONE, NONE])
    told = ask(rows, HeatAhead(SO_FAR, np.concatenate([np.ones((1, 20)), np.zeros((1, 30))], axis=1)))
    assert np.isnan(told.silk).any()
    assert np.nanmax(told.silk) <= 119.0
    warm, cold = np.ones((1, 150)), np.zeros((1, 150))
    half = ask(make_rows([0], [NONE], [NONE]), HeatAhead(np.zeros(10), np.concatenate([warm, cold])), draws=100)
    assert np.isnan(half.silk).mean() == pytest.approx(0.5)
    assert set(half.member[np.isnan(half.silk[0])].tolist()) == {1}


def test_notes_of_relatives_move_a_row_and_the_season_moves_all():
    late = ask(make_rows([0, 0, 0, 1, 2], [(115, -1)] * 3 + [NONE] * 2, [(118, -1)] * 3 + [NONE] * 2), draws=1000)
    plain = ask(make_rows([0, 0, 0, 1, 2], [NONE] * 5, [NONE] * 5), draws=1000)
    by = (late.silk.mean(axis=1) - plain.silk.mean(axis=1))[3:]
    assert by[0] > by[1] + 1.0
    assert by[1] > 0.5


def test_one_slip_among_many_notes_is_hardly_believed():
    def season(slip: int, frac: float) -> float:
        seen = [(day, -1) for day in (98, 99, 100, 101, 99, 98, 101, slip)]
        rows = make_rows([0] * 8, [(one[0] - 2, -1) for one in seen], seen)
        heat = HeatAhead(np.ones(150), AHEAD)
        told = ask(rows, heat, wrong_note_frac=frac, row_cov=ROW_COV / 4.0)
        return float(told.posterior.mean[0, 0] + told.posterior.shared_mean[0])

    believed = season(135, 0.0) - season(100, 0.0)
    doubted = season(135, 0.02) - season(100, 0.02)
    assert believed > 2.0
    assert abs(doubted) < 0.25 * believed


def test_the_rows_own_spread_is_heard_from_their_notes():
    dice = np.random.default_rng(5)
    for scale, low, high in ((0.3, 0.3, 0.75), (1.0, 0.7, 1.4), (2.0, 2.2, 6.0)):
        own = dice.multivariate_normal([0.0, 0.0], ROW_COV * scale**2, 60)
        seen = np.ceil(np.array([106.0, 100.0]) + own).astype(int)
        told = ask(make_rows([0] * 60, seen - 1, seen), HeatAhead(np.ones(150), AHEAD), draws=50)
        assert low <= told.row_spread <= high


def test_drift_widens_what_is_still_far_and_leaves_what_was_seen():
    # Rows sown later have further to go; each has the same line.
    rows = make_rows([0, 0, 0], [(97, -1), NONE, NONE], [(99, -1), NONE, NONE], sown=[0, 0, 40])
    still, adrift = ask(rows, draws=2000), ask(rows, draws=2000, drift_units=4.0)
    widened = adrift.silk.std(axis=1) / still.silk.std(axis=1)
    assert widened[0] == pytest.approx(1.0)
    assert widened[2] > max(float(widened[1]), 1.2)


def test_dry_runs_are_refused():
    with pytest.raises(ValueError, match="at least one way"):
        ask(NOTED["no notes"], HeatAhead(SO_FAR, np.zeros((0, 10))))
    with pytest.raises(ValueError, match="needs rows"):
        ask(make_rows([], np.zeros((0, 2)), np.zeros((0, 2))))
    with pytest.raises(ValueError, match="sown on day 299"):
        ask(make_rows([0], [NONE], [NONE], sown=[299]))
