"""Do the sums of the invented year come out, counted again from the books' own rows?

Nothing of ours does the counting here: plain SQL, and formulas written out again.
"""

from __future__ import annotations

import json
import math
import re
import sqlite3
from collections import defaultdict

import numpy as np
import pytest

pytestmark = pytest.mark.xdist_group("year")

ANALYSIS = "yield_kg_ha_15_5 2029 2030 2031"


def ask(books: sqlite3.Connection, question: str, *values: object) -> list[sqlite3.Row]:
    return books.execute(question, values).fetchall()


def one(books: sqlite3.Connection, question: str, *values: object) -> float:
    return ask(books, question, *values)[0][0]


def read_standing(books: sqlite3.Connection) -> list[sqlite3.Row]:
    """Notes that nothing replaced or took back; the year has no correction of a correction."""
    replacing = "SELECT replaces FROM records_note WHERE replaces IS NOT NULL AND NOT practice"
    twice = one(books, f"SELECT count(*) FROM records_note WHERE replaces IS NOT NULL AND uuid IN ({replacing})")
    assert twice == 0
    question = f"SELECT * FROM records_note WHERE NOT practice AND kind != 'withdrawn' AND uuid NOT IN ({replacing})"
    return ask(books, question)


def test_no_lot_stands_below_zero_on_any_day_and_none_is_promised_more_than_it_holds(demo_books) -> None:
    stock: dict[int, int] = defaultdict(int)
    for move in ask(demo_books, "SELECT lot_id, kernels FROM records_movement ORDER BY moved_on, kernels < 0, id"):
        stock[move["lot_id"]] += move["kernels"]
        assert stock[move["lot_id"]] >= 0
    held = "SELECT lot_id, sum(kernels) AS kernels FROM records_reservation WHERE released_on IS NULL GROUP BY lot_id"
    assert all(stock[row["lot_id"]] >= row["kernels"] for row in ask(demo_books, held))
    reserved = "SELECT sum(kernels) FROM records_reservation WHERE {} IS NOT NULL"
    taken = "SELECT -sum(kernels) FROM records_movement WHERE reason = ?"
    assert one(demo_books, reserved.format("row_id")) == one(demo_books, taken, "sown")
    assert one(demo_books, reserved.format("trial_id")) == one(demo_books, taken, "packed")


def test_account_of_the_year_tells_the_figures_of_the_books(demo_year, demo_books) -> None:
    _, told = demo_year
    told = " ".join(told.split())
    sown = -one(demo_books, "SELECT sum(kernels) FROM records_movement WHERE reason = 'sown'")
    made = one(demo_books, "SELECT sum(kernels) FROM records_movement WHERE reason = 'harvested'")
    lots = one(demo_books, "SELECT count(DISTINCT lot_id) FROM records_movement WHERE reason = 'harvested'")
    season = "SELECT id FROM records_season WHERE name = '2031'"
    rows = one(demo_books, f"SELECT count(*) FROM records_row WHERE season_id = ({season})")
    notes = one(demo_books, "SELECT count(*) FROM records_note")
    tags = {row["tag"] for row in ask(demo_books, f"SELECT tag FROM records_row WHERE season_id = ({season})")}
    standing = [note for note in read_standing(demo_books) if note["tag"] in tags]
    ears = sum_by_bag([note for note in standing if note["kind"] == "ears_picked"])
    tries = sum_by_bag([note for note in standing if note["kind"] == "pollinated"])
    assert f"{sown:,} kernels reserved" in told
    assert f" in {rows} rows " in told
    assert f"{lots} lots of {made:,} kernels" in told
    assert f"the chain of {notes:,} notes holds" in told
    assert f"{ears} ears from {tries} pollinations" in told


def sum_by_bag(notes: list[sqlite3.Row]) -> int:
    """Counts added up; the same bag of the same row and kind counts once, with its largest number."""
    bags: dict[tuple[str, ...], int] = {}
    loose = 0
    for note in notes:
        key = (note["tag"], note["kind"], note["detail"], note["male"], note["bag"])
        if note["bag"]:
            bags[key] = max(bags.get(key, 0), int(note["value"]))
        else:
            loose += int(note["value"])
    return loose + sum(bags.values())


def test_every_harvested_lot_leads_to_its_row_its_mother_and_its_father(demo_books) -> None:
    question = """
        SELECT lot.name, child.name AS line, child.method, child.mother_id, child.father_id, mother.id AS mother,
               male.line_id AS father, origin.note, row.tag
        FROM records_movement move
        JOIN records_lot lot ON lot.id = move.lot_id
        JOIN records_line child ON child.id = lot.line_id
        LEFT JOIN records_lotorigin origin ON origin.lot_id = lot.id
        LEFT JOIN records_row row ON row.id = origin.row_id
        LEFT JOIN records_line mother ON mother.id = row.line_id
        LEFT JOIN records_row male ON male.id = origin.male_row_id
        WHERE move.reason = 'harvested'
    """
    lots = ask(demo_books, question)
    assert len(lots) > 50
    notes = {note["uuid"]: note for note in ask(demo_books, "SELECT * FROM records_note WHERE kind = 'pollinated'")}
    for lot in lots:
        assert lot["mother"] is not None, lot["name"]
        assert notes[lot["note"]]["tag"] == lot["tag"]
        if lot["method"] == "cross":
            assert {lot["mother_id"], lot["father_id"]} == {lot["mother"], lot["father"]}, lot["name"]
        else:
            assert lot["method"] == "self", lot["name"]
            assert (lot["mother_id"], lot["father"]) == (lot["mother"], None), lot["name"]


def test_kernels_that_came_into_lots_are_the_kernels_noted_row_by_row(demo_books) -> None:
    question = """
        SELECT row.tag, sum(move.kernels) AS kernels FROM records_movement move
        JOIN records_lotorigin origin ON origin.lot_id = move.lot_id JOIN records_row row ON row.id = origin.row_id
        WHERE move.reason = 'harvested' GROUP BY row.tag
    """
    booked = {row["tag"]: row["kernels"] for row in ask(demo_books, question)}
    shelled: dict[str, list[sqlite3.Row]] = defaultdict(list)
    season = "SELECT tag FROM records_row WHERE season_id = (SELECT id FROM records_season WHERE name = '2031')"
    tags = {row["tag"] for row in ask(demo_books, season)}
    for note in read_standing(demo_books):
        if note["kind"] == "shelled" and note["tag"] in tags:
            shelled[note["tag"]].append(note)
    assert booked == {tag: sum_by_bag(notes) for tag, notes in shelled.items()}


def test_packets_of_a_trial_are_its_plots_times_the_kernels_of_one(demo_books) -> None:
    question = """
        SELECT trial.name, trial.kernels_per_plot * count(*) AS wanted,
               (SELECT -sum(kernels) FROM records_movement WHERE used_for = 'trial ' || trial.name) AS packed
        FROM records_trial trial JOIN records_plot plot ON plot.trial_id = trial.id
        WHERE trial.design = 'complete' GROUP BY trial.id
    """
    trials = ask(demo_books, question)
    assert len(trials) == 4
    assert [row["packed"] for row in trials] == [row["wanted"] for row in trials]
    by_lot = """
        SELECT plot.lot_id, trial.name, count(*) * trial.kernels_per_plot AS wanted,
               (SELECT -sum(kernels) FROM records_movement move
                WHERE move.lot_id = plot.lot_id AND used_for = 'trial ' || trial.name) AS packed
        FROM records_plot plot JOIN records_trial trial ON trial.id = plot.trial_id
        WHERE trial.design = 'complete' GROUP BY plot.lot_id, trial.id
    """
    assert all(row["packed"] == row["wanted"] for row in ask(demo_books, by_lot))


def test_yields_are_grain_at_15_5_percent_a_hectare(demo_books) -> None:
    """W (100 - M) / 84.5 x 10,000 / A, the formula of the trade."""
    question = """
        SELECT record.*, trial.plot_area_m2 AS area FROM records_plotrecord record
        JOIN records_plot plot ON plot.id = record.plot_id JOIN records_trial trial ON trial.id = plot.trial_id
        WHERE trial.year = 2031 ORDER BY record.id
    """
    records = ask(demo_books, question)
    assert len(records) > 300
    for record in records:
        if record["rejected"]:
            assert record["yield_kg_ha_15_5"] is None
            continue
        grain = record["weight_kg"] * (100 - record["moisture_pct"]) / 84.5 * 10_000 / record["area"]
        assert record["yield_kg_ha_15_5"] == pytest.approx(grain, rel=1e-12)


@pytest.fixture(scope="module")
def analysis(demo_books):
    """The stored analysis of yield, and its plots by a question of our own: newest record, not rejected."""
    question = "SELECT * FROM records_result WHERE about = ? ORDER BY id DESC"
    stored = ask(demo_books, question, ANALYSIS)[0]
    plots = """
        SELECT trial.name AS trial, trial.name || ' ' || plot.rep AS rep, line.name AS entry,
               line.is_check OR plot.is_check AS is_check, record.yield_kg_ha_15_5 AS grain
        FROM records_plot plot JOIN records_trial trial ON trial.id = plot.trial_id
        JOIN records_line line ON line.id = plot.entry_id
        JOIN records_plotrecord record ON record.plot_id = plot.id
        WHERE record.id = (SELECT max(id) FROM records_plotrecord WHERE plot_id = plot.id)
          AND record.rejected = '' AND record.yield_kg_ha_15_5 IS NOT NULL
    """
    return stored, json.loads(stored["answer"]), ask(demo_books, plots)


@pytest.fixture(scope="module")
def solved(analysis):
    """BLUPs by the dense formulas: V = ZGZ' + R, b = (X'V^-1 X)^-1 X'V^-1 y, u = GZ'V^-1 (y - Xb) (Henderson 1975)."""
    _, answer, plots = analysis
    sizes = {(term, level): value for term, level, value, _ in answer["variances"]}
    y = np.array([plot["grain"] for plot in plots])
    X, trials = one_hot([plot["trial"] for plot in plots])
    Z, entries = one_hot([plot["entry"] for plot in plots])
    W, _ = one_hot([f"{plot['entry']} in {plot['trial']}" for plot in plots])
    B, _ = one_hot([plot["rep"] for plot in plots])
    parts = {
        ("entry", ""): Z @ Z.T,
        ("entry within trial", ""): W @ W.T,
        ("replicate within trial", ""): B @ B.T,
        **{("residual", trial): np.diag(X[:, at]) for at, trial in enumerate(trials)},
    }
    assert parts.keys() == sizes.keys()
    V = sum(sizes[key] * part for key, part in parts.items())
    inverse = np.linalg.inv(V)
    middle = np.linalg.inv(X.T @ inverse @ X)
    b = middle @ X.T @ inverse @ y
    P = inverse - inverse @ X @ middle @ X.T @ inverse
    G = sizes[("entry", "")]
    u = G * Z.T @ P @ y
    errors = G * np.eye(len(entries)) - G * Z.T @ P @ Z * G
    return entries, b.mean(), u, errors, y, P, parts


def one_hot(names: list[str]) -> tuple[np.ndarray, list[str]]:
    levels = sorted(set(names))
    return np.array([[float(name == level) for level in levels] for name in names]), levels


def test_predictions_of_entries_agree_with_the_dense_formula(demo_books, analysis, solved) -> None:
    stored, answer, plots = analysis
    entries, mean, u, errors, *_ = solved
    assert stored["n_records"] == len(plots)
    question = """
        SELECT line.name, estimate.* FROM records_estimate estimate JOIN records_line line ON line.id = estimate.line_id
        WHERE result_id = ? AND estimate.kind = 'blup' ORDER BY line.name
    """
    kept = {row["name"]: row for row in ask(demo_books, question, stored["id"])}
    assert sorted(kept) == entries
    assert answer["mean"] == pytest.approx(mean, rel=1e-8)
    for at, name in enumerate(entries):
        assert kept[name]["value"] == pytest.approx(mean + u[at], rel=1e-8)
        assert kept[name]["se"] == pytest.approx(math.sqrt(errors[at, at]), rel=1e-6)
        assert kept[name]["n_plots"] == sum(plot["entry"] == name for plot in plots)


def test_variances_are_where_restricted_likelihood_is_level(solved) -> None:
    """d logL / d theta = -(tr(P V_i) - y'P V_i P y) / 2 is 0 at the top (Searle, Casella & McCulloch 1992, ch. 6)."""
    *_, y, P, parts = solved
    Py = P @ y
    for key, part in parts.items():
        trace, square = float(np.sum(P * part)), float(Py @ part @ Py)
        assert square == pytest.approx(trace, rel=2e-4), key


def test_reasons_of_verdicts_name_the_figures_of_the_analysis(demo_books, analysis, solved) -> None:
    stored, answer, plots = analysis
    entries, _, u, errors, *_ = solved
    question = """
        SELECT verdict.reason, line.id, line.name FROM records_verdict verdict
        JOIN records_line line ON line.id = verdict.line_id WHERE verdict.evidence_id = ?
    """
    verdicts = ask(demo_books, question, stored["id"])
    assert len(verdicts) > 20
    checks = np.array([float(name in answer["checks"]) for name in entries])
    for verdict in verdicts:
        parents = "SELECT name FROM records_line WHERE kind = 'hybrid' AND ? IN (mother_id, father_id)"
        own = {row["name"] for row in ask(demo_books, parents, verdict["id"])}
        mine = np.array([float(name in own) for name in entries])
        contrast = mine / mine.sum() - checks / checks.sum()
        difference, error = float(contrast @ u), math.sqrt(contrast @ errors @ contrast)
        side = "above" if difference >= 0 else "below"
        assert verdict["reason"].startswith(f"Yields {abs(difference):.0f} ± {error:.0f} kg/ha {side} the checks"), (
            verdict["name"]
        )
        chance = 0.5 * (1.0 + math.erf(difference / error / math.sqrt(2.0)))
        assert f"better with probability {chance:.2f}" in verdict["reason"]
        n_plots = sum(plot["entry"] in own for plot in plots)
        assert re.search(rf"\b{n_plots} plots, ", verdict["reason"])
