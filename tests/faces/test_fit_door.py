"""Does `firstsilk fit` keep its promises: keys, tables, and one clear sentence for each no?"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from firstsilk.faces.command.main import run

KEYS = [
    "n",
    "n_dropped",
    "reml_log_likelihood",
    "variances",
    "correlations",
    "fixed",
    "means",
    "random",
    "heritability",
    "converged",
    "gradient",
    "at_bound",
    "iterations",
    "seconds",
    "loadings",
    "effective_df",
    "tests",
    "differences",
]
MODEL = """
response = "yield"
fixed = [["site"]]
genotype = "line"
[[random]]
columns = ["line"]
[[random]]
columns = ["line", "site"]
"""
LINES = ("L1", "L2", "L3", "L4", "L5")


def plots(**change: str) -> str:
    """Five lines at two sites, two plots each; cells may be changed by `line_number_column`."""
    dice = np.random.default_rng(4)
    shift = dict(zip(LINES, dice.normal(0, 2, 5), strict=True))
    lines = ["site,rep,line,dose,w,yield"]
    for site in ("A", "B"):
        for rep in ("1", "2"):
            for at, line in enumerate(LINES):
                value = 10 + 3 * (site == "B") + shift[line] + dice.normal()
                lines.append(f"{site},{rep},{line},{at * 10},{1 + at % 2},{value:.3f}")
    header = lines[0].split(",")
    for place, value in change.items():
        number, column = place.removeprefix("at_").split("_", 1)
        cells = lines[int(number) - 1].split(",")
        cells[header.index(column)] = value
        lines[int(number) - 1] = ",".join(cells)
    return "\n".join(lines) + "\n"


@pytest.fixture
def fit(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch):
    """Write plots, model and other files, run the door, give exit code, output and complaint."""
    monkeypatch.chdir(tmp_path)

    def call(model: str, table: str, *options: str, **files: str) -> tuple[int, str, str]:
        Path("plots.csv").write_text(table, encoding="utf-8")
        Path("model.toml").write_text(model, encoding="utf-8")
        for name, text in files.items():
            Path(name.replace("_csv", ".csv")).write_text(text, encoding="utf-8")
        code = run(["fit", "plots.csv", "model.toml", *options])
        told = capsys.readouterr()
        return code, told.out, told.err

    return call


def test_fit_when_asked_then_one_object_with_the_keys_of_the_door(fit) -> None:
    code, out, err = fit(MODEL, plots(at_3_yield=""))
    answer = json.loads(out)
    assert (code, err) == (0, "")
    assert list(answer) == KEYS
    assert (answer["n"], answer["n_dropped"]) == (19, 1)
    assert [(v["term"], v["level"]) for v in answer["variances"]] == [("line", ""), ("line:site", ""), ("residual", "")]
    assert [(f["term"], f["level"]) for f in answer["fixed"]] == [("intercept", ""), ("site", "B")]
    assert [(m["term"], m["level"]) for m in answer["means"]] == [("site", "A"), ("site", "B")]
    assert list(answer["random"][0]) == ["term", "level", "value", "se", "reliability"]
    assert [r["level"] for r in answer["random"]][:6] == [*LINES, "L1:A"]
    assert list(answer["heritability"]) == ["cullis", "piepho", "entry_mean"]
    assert answer["correlations"] == []
    assert answer["converged"] is True
    assert answer["gradient"] < 1e-6


def test_fit_when_there_are_fixed_terms_then_tests_and_differences_stand_beside_them(fit) -> None:
    answer = json.loads(fit(MODEL, plots())[1])
    (test,) = answer["tests"]
    assert list(test) == ["term", "df", "denominator_df", "F", "p"]
    assert (test["term"], test["df"]) == ("site", 1)
    (site,) = answer["differences"]
    assert list(site) == ["term", "pairs", "se_average", "se_min", "se_max", "each"]
    (pair,) = site["each"]
    assert list(pair) == ["level_a", "level_b", "value", "se", "df", "p"]
    assert (pair["level_a"], pair["level_b"]) == ("A", "B")
    # Balanced: sites are tested against line x site with 4 degrees of freedom, unless that variance is 0.
    assert test["denominator_df"] == pytest.approx(4 if answer["variances"][1]["value"] > 0 else 14)
    assert test["F"] == pytest.approx((pair["value"] / pair["se"]) ** 2)
    again = json.loads(fit(MODEL, plots(), "--tests", "kenward-roger")[1])["tests"][0]
    assert again["F"] == pytest.approx(test["F"])
    assert fit(MODEL, plots(), "--tests", "guess")[0] == 2
    bare = json.loads(fit(MODEL, plots(), "--tests", "none")[1])
    assert bare["tests"] is None
    assert bare["differences"][0]["each"][0]["df"] is None


def test_fit_when_json_is_asked_for_then_the_same_object(fit) -> None:
    one = json.loads(fit(MODEL, plots())[1])
    two = json.loads(fit(MODEL, plots(), "--json")[1])
    one.pop("seconds")
    two.pop("seconds")
    assert one == two


def test_fit_when_out_is_given_then_the_random_table_is_there_and_the_object_too(fit) -> None:
    code, out, _ = fit(MODEL, plots(), "--out", "random.csv")
    assert code == 0
    lines = Path("random.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == "term,level,value,se,reliability"
    assert len(lines) == 1 + len(json.loads(out)["random"])


def test_fit_when_a_variance_is_at_its_bound_then_0_null_and_named(fit) -> None:
    table = plots() + "".join(f"C,{rep},{line},0,1,{rep + 5}\n" for rep in (1, 2) for line in LINES)
    model = 'response = "yield"\nfixed = [["site"], ["line"]]\n[[random]]\ncolumns = ["line", "rep"]\n'
    answer = json.loads(fit(model, table)[1])
    assert answer["at_bound"] == ["line:rep"]
    assert answer["variances"][0] == {"term": "line:rep", "level": "", "value": 0.0, "se": None}
    assert all(r["value"] == 0 and r["se"] == 0 and r["reliability"] is None for r in answer["random"])
    assert answer["heritability"] is None


def test_fit_when_numeric_weights_and_variances_by_site_then_levels_are_named(fit) -> None:
    model = (
        'response = "yield"\nfixed = [["site"], ["dose"], ["dose", "site"]]\nnumeric = ["dose"]\n'
        'sum_coded = ["site"]\nweights = "w"\n[[random]]\ncolumns = ["site", "line"]\nvariance_by = "site"\n'
        '[residual]\nvariance_by = "site"\n'
    )
    answer = json.loads(fit(model, plots())[1])
    assert [(v["term"], v["level"]) for v in answer["variances"]] == [
        ("site:line", "A"),
        ("site:line", "B"),
        ("residual", "A"),
        ("residual", "B"),
    ]
    names = [(f["term"], f["level"]) for f in answer["fixed"]]
    assert names == [("intercept", ""), ("site", "A"), ("dose", ""), ("dose:site", "A")]


PEDIGREE = (
    "line,mother,father,method\nP1,,,founder_inbred\nP2,,,founder_inbred\nF1,P1,P2,cross\n"
    "L1,F1,,dh\nL2,F1,,dh\nL3,F1,,dh\nL4,F1,,dh\nL5,,,founder_inbred\n"
)


def test_fit_when_lines_have_a_pedigree_then_twice_their_coancestry_is_used(fit, tmp_path) -> None:
    model = 'response = "yield"\nfixed = [["site"]]\n[[random]]\ncolumns = ["line"]\nrelationship = "{}"\n'
    by_pedigree = json.loads(fit(model.format("pedigree.csv"), plots(), pedigree_csv=PEDIGREE)[1])
    assert [r["level"] for r in by_pedigree["random"]] == ["P1", "P2", "F1", *LINES]
    # Doubled haploids of one F1 of unrelated inbreds: 2 with themselves, 1 with each other, 1 with their parents.
    square = ["name," + ",".join(LINES)]
    for one in LINES:
        cells = ["2" if one == other else "0" if "L5" in (one, other) else "1" for other in LINES]
        square.append(one + "," + ",".join(cells))
    by_matrix = json.loads(fit(model.format("square.csv"), plots(), square_csv="\n".join(square) + "\n")[1])
    assert by_matrix["reml_log_likelihood"] == pytest.approx(by_pedigree["reml_log_likelihood"], abs=1e-8)
    assert by_matrix["variances"][0]["value"] == pytest.approx(by_pedigree["variances"][0]["value"], rel=1e-6)
    # Matrices with names are often written with an empty corner.
    by_corner = json.loads(fit(model.format("square.csv"), plots(), square_csv="\n".join(square)[4:] + "\n")[1])
    assert by_corner["variances"] == by_matrix["variances"]
    for one in by_matrix["random"]:
        other = next(r for r in by_pedigree["random"] if r["level"] == one["level"])
        assert one["value"] == pytest.approx(other["value"], abs=1e-6)
        assert one["reliability"] == pytest.approx(other["reliability"], abs=1e-6)


def test_fit_when_the_errors_of_means_are_known_then_no_residual_is_estimated(fit) -> None:
    means = "line,site,mean\n" + "".join(
        f"{line},{site},{8 + k * (1 + (site == 'B'))}\n" for k, line in enumerate(LINES) for site in "AB"
    )
    known = (
        ",".join(f"c{k}" for k in range(10))
        + "\n"
        + "\n".join(",".join("0.2" if i == j else "0.05" for j in range(10)) for i in range(10))
    )
    model = (
        'response = "mean"\nfixed = [["line"], ["site"]]\n[[random]]\ncolumns = ["line", "site"]\n'
        '[residual]\ncovariance = "known.csv"\n'
    )
    answer = json.loads(fit(model, means, known_csv=known + "\n")[1])
    assert [v["term"] for v in answer["variances"]] == ["line:site"]
    code, _, err = fit(model, means + "L6,A,4\n", known_csv=known + "\n")
    assert code == 1
    assert "must be 11 x 11" in err


NO = {
    "a response that is no number": (
        MODEL,
        {"at_4_yield": "12;5"},
        "plots.csv, line 4, column yield: this is not a number (found: '12;5')",
    ),
    "a class that is missing": (MODEL, {"at_5_line": ""}, "plots.csv, line 5, column line: this cell is empty"),
    "a column that is missing": (MODEL.replace('"site"', '"place"'), {}, "column place: column 'place' is missing"),
    "an unknown key": (MODEL + "colour = 1\n", {}, "model.toml: key 'random.colour' is not known"),
    "a top key unknown": ('respond = "y"\n' + MODEL, {}, "key 'respond' is not known"),
    "no response": ("fixed = []\n", {}, "key 'response' is missing"),
    "no TOML": ("response = yield\n", {}, "cannot be read as TOML"),
    "terms that are no lists": ('response = "yield"\nfixed = ["site"]\n', {}, "must be a list of lists"),
    "a term of numbers": ('response = "yield"\nfixed = [[1]]\n', {}, "must be a list of column names"),
    "an empty term": ('response = "yield"\nfixed = [[]]\n', {}, "has an empty term"),
    "a random term without columns": (MODEL + "[[random]]\n", {}, "key 'random.columns' is missing"),
    "random written as one": (
        'response = "yield"\n[random]\ncolumns = ["line"]\n',
        {},
        "must be written as [[random]]",
    ),
    "a relationship file that is not there": (
        MODEL + 'relationship = "kin.csv"\n',
        {},
        "kin.csv: there is no such file",
    ),
    "the response as a term": ('response = "yield"\nfixed = [["yield"]]\n', {}, "names 'yield', which also explains"),
    "a negative known variance": (MODEL + "variance = -1\n", {}, "must be a number of 0 or more"),
}


@pytest.mark.parametrize("case", NO)
def test_fit_when_input_is_bad_then_exit_1_and_one_sentence_that_names_it(fit, case: str) -> None:
    model, change, told = NO[case]
    code, out, err = fit(model, plots(**change), "--out", "random.csv")
    assert code == 1
    assert out == ""
    assert told in err
    assert "Traceback" not in err
    assert not Path("random.csv").exists()


BAD_GROUND = {
    "surface.knots": (MODEL + '[[surface]]\ngrid = ["r", "c"]\n', "must have a whole number for each of r, c"),
    "surface.grid": (MODEL + "[[surface]]\nknots = [5, 5]\n", "is missing; name the columns of positions"),
    "random.factors": (MODEL + "factors = 1.5\n", "must be a whole number"),
    "residual.nugget": (MODEL + '[residual]\nnugget = "yes"\n', "must be true or false"),
}


@pytest.mark.parametrize("key", BAD_GROUND)
def test_fit_when_a_key_of_ground_is_no_such_thing_then_file_and_key_are_named(fit, key: str) -> None:
    model, told = BAD_GROUND[key]
    code, out, err = fit(model, plots())
    assert (code, out) == (1, "")
    assert f"key '{key}' {told}" in err


def ground(positions: str = "") -> str:
    """One field of 6 x 8 plots, 16 lines three times; ground that waves."""
    dice = np.random.default_rng(4)
    lines = ["line,r,c,yield"]
    for r in range(6):
        for c in range(8):
            value = (r * 8 + c) % 16 * 0.3 + np.sin(r) + 0.2 * c + dice.normal() * 0.4
            lines.append(f"L{(r * 8 + c) % 16:02d},{positions or r + 1},{c + 1},{value:.4f}")
    return "\n".join(lines) + "\n"


def test_fit_when_ground_is_asked_then_correlations_surfaces_and_nugget_are_told(fit) -> None:
    lines = 'response = "yield"\ngenotype = "line"\n[[random]]\ncolumns = ["line"]\n'
    code, out, _ = fit(lines + '[residual]\ngrid = ["r", "c"]\nnugget = true\n', ground())
    answer = json.loads(out)
    assert code == 0
    assert [line["term"] for line in answer["variances"]] == ["line", "residual", "nugget"]
    assert [(line["term"], line["axis"], line["level"]) for line in answer["correlations"]] == [
        ("residual", "r", ""), ("residual", "c", ""),
    ]  # fmt: skip
    code, out, _ = fit(lines + '[[surface]]\ngrid = ["r", "c"]\nknots = [5, 5]\n', ground())
    answer = json.loads(out)
    assert code == 0
    assert [(line["term"], line["level"]) for line in answer["variances"]] == [
        ("line", ""), ("r:c", "r"), ("r:c", "c"), ("residual", ""),
    ]  # fmt: skip
    assert [line["term"] for line in answer["fixed"]] == ["intercept", "r", "c", "r:c"]
    assert answer["effective_df"] > 5
    assert answer["heritability"]["cullis"] > 0.5


def test_fit_when_asked_for_records_then_fitted_left_over_and_ground_stand_in_a_table(fit) -> None:
    model = 'response = "yield"\n[[random]]\ncolumns = ["line"]\n[[surface]]\ngrid = ["r", "c"]\nknots = [5, 5]\n'
    table = ground()
    code, _, _ = fit(model, table, "--records", "records.csv")
    assert code == 0
    header, *lines = Path("records.csv").read_text().splitlines()
    assert header == "record,fitted,residual,studentised,ground"
    told = np.array([[float(cell) for cell in line.split(",")] for line in lines])
    seen = np.array([float(line.split(",")[-1]) for line in table.splitlines()[1:]])
    assert told[:, 0].tolist() == list(range(1, 49))
    assert told[:, 1] + told[:, 2] == pytest.approx(seen)
    assert float(np.mean(told[:, 4])) == pytest.approx(0.0, abs=1e-8)
    assert float(np.std(told[:, 4])) > 0.3


def test_fit_when_two_plots_share_a_place_then_the_sentence_names_them(fit) -> None:
    code, out, err = fit('response = "yield"\n[residual]\ngrid = ["r", "c"]\n', ground("1"))
    assert (code, out) == (1, "")
    assert "plots.csv: Lines 2 and 10 stand on the same place of the grid r x c" in err


def test_fit_when_a_cell_of_an_interaction_is_empty_then_the_json_names_the_columns(fit) -> None:
    table = "".join(line + "\n" for line in plots().splitlines() if not (",L2," in line and line.startswith("B")))
    code, out, err = fit('response = "yield"\nfixed = [["site"], ["line"], ["site", "line"]]\n', table, "--json")
    answer = json.loads(out)
    assert code == 1
    assert (answer["no"], answer["code"]) == ("refusal", "not_estimable")
    assert answer["facts"]["columns"] == "site:line"
    assert "B:L2" in err


def test_fit_when_a_square_matrix_has_other_names_then_refused(fit) -> None:
    model = MODEL.replace('columns = ["line"]\n', 'columns = ["line"]\nrelationship = "square.csv"\n')
    code, _, err = fit(model, plots(), square_csv="name,L1,L2\nL1,1,0\nL3,0,1\n")
    assert code == 1
    assert "same names in its header and its first column" in err


def test_fit_when_a_square_matrix_is_not_symmetric_then_its_file_and_the_pair_are_named(fit) -> None:
    model = MODEL.replace('columns = ["line"]\n', 'columns = ["line"]\nrelationship = "square.csv"\n')
    code, _, err = fit(model, plots(), square_csv="name,L1,L2\nL1,1,0.5\nL2,0.2,1\n")
    assert code == 1
    assert "square.csv: 'L1' with 'L2' is 0.5, but 'L2' with 'L1' is 0.2." in err


def test_fit_when_science_refuses_then_file_and_line_are_named(fit) -> None:
    # A blank line under the header: the third record stands on line 5.
    table = plots(at_4_w="-2").replace("\n", "\n\n", 1)
    code, out, err = fit('response = "yield"\nweights = "w"\nfixed = [["site"]]\n', table)
    assert (code, out) == (1, "")
    assert "plots.csv: Column 'w', line 5: a weight must be above 0 (-2)." in err
