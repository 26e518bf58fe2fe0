"""Do the pages of one field and one series show their pictures, their tables and what they rest on, and print?"""

from __future__ import annotations

import json
import re

import pypdfium2
import pytest

from firstsilk.faces.analysed import list_responses, make_cells, make_intervals
from firstsilk.faces.command.main import run
from firstsilk.faces.pages.analysis.field_views import draw_views
from firstsilk.faces.paper.analysis_report import make_analysis_report, render_analysis_report
from firstsilk.faces.pictures.units import UNITS
from firstsilk.records.models import Plot, Trial
from firstsilk.work.analysis.plots import TRAITS
from firstsilk.work.analysis.series import read_series
from firstsilk.work.analysis.trial_map import read_trial_map
from tests.trial_cast import add_people, make_grown_cast

pytestmark = pytest.mark.django_db
FIELD, SERIES, DAY = "/analysis/field/of/home-2031/", "/analysis/series/of/TC1/", "day=2031-12-01"


@pytest.fixture
def cast():
    made = make_grown_cast(12)
    made.people = add_people(made)
    return made


def read_page(client, cast, address, role="breeder", status=200):
    client.force_login(cast.people[role])
    answer = client.get(f"{address}{'&' if '?' in address else '?'}{DAY}")
    assert answer.status_code == status
    return answer.content.decode()


def test_home_of_analysis_leads_to_every_series_and_field(client, cast):
    page = read_page(client, cast, "/analysis/", "cooperator")
    assert f'href="{SERIES}"' in page
    for trial in Trial.objects.all():
        assert f'href="/analysis/field/of/{trial.name}/"' in page


@pytest.mark.parametrize("trait", TRAITS)
def test_field_shows_three_views_of_the_same_plots_a_switch_and_the_table(client, cast, trait):
    page = read_page(client, cast, f"{FIELD}?trait={trait}")
    found = read_trial_map(cast.on, "home-2031", trait)
    views = re.findall(r'class="view scroll" data-view="(\w+)"(.*?)</figure>', page, re.DOTALL)
    assert [view for view, _ in views] == ["measured", "ground", "left"]
    for _, drawn in views:
        assert drawn.count('aria-label="Plot ') == len(found.plots)
    assert page.count('type="radio" name="view"') == 3
    assert page.count('<figure class="chart"') == 3 + 3 + 1
    assert UNITS[trait].unit in page
    assert found.model in page
    for one in found.plots:
        assert f'<td class="n">{one.number}</td>' in page
    assert found.basis.as_text() in page


def test_field_tells_what_correlation_is_left_with_its_table(client, cast):
    page = read_page(client, cast, FIELD)
    lags = read_trial_map(cast.on, "home-2031").lags
    assert "Next neighbours in the same field row" in page
    assert f"({lags.pairs[0, 1]:,})" in page


def test_the_trial_s_own_page_leads_to_its_field(client, cast):
    assert f'href="{FIELD}"' in read_page(client, cast, "/trials/of/home-2031/")


def test_field_without_places_says_so_and_still_has_its_table(client, cast):
    Plot.objects.filter(trial__name="home-2031", number=1).update(field_col=None)
    page = read_page(client, cast, FIELD)
    assert "there is no map" in page
    assert "data-views" not in page
    assert "field_views.js" not in page
    assert '<td class="n">28</td>' in page


def test_what_is_not_there_is_told_in_words(client, cast):
    assert "no trial" in read_page(client, cast, "/analysis/field/of/nothing/", status=422)
    assert "no series" in read_page(client, cast, "/analysis/series/of/nothing/", status=422)


def test_beyond_the_limit_the_same_cells_go_to_a_canvas(cast):
    found = read_trial_map(cast.on, "home-2031")
    views, canvas = draw_views(found, UNITS[found.trait], limit=10)
    assert {view.chart for view in views} == {None}
    assert all(len(view.key) == 7 for view in views)
    assert len(canvas["cells"]) == len(found.plots)
    by_place = {(one.field_row, one.field_col): one for one in make_cells(found)}
    for row, col, check, told in canvas["cells"]:
        own = by_place[row, col]
        assert check == own.is_check
        assert [own.entry in says for says, _, _, _ in told] == [True] * 3
        assert told[0][1] in dict(views[0].key)
    json.dumps(canvas)


@pytest.mark.parametrize("trait", TRAITS)
def test_series_shows_entries_best_places_and_responses(client, cast, trait):
    page = read_page(client, cast, f"{SERIES}?trait={trait}")
    found = read_series(cast.on, "TC1", trait)
    assert page.count('<figure class="chart"') == 4
    for one in found.responses.places.groups:
        assert f"<strong>{one.entry}</strong>" in page
    assert len(make_intervals(found)) == len(found.entries) == 14
    assert "Compared with: <strong>the checks</strong>" in page
    rows = list_responses(found.responses, set(found.checks))
    assert sum(one.interaction_share for one in rows) == pytest.approx(1)
    assert [one.from_best for one in rows] == sorted(one.from_best for one in rows)
    assert "Not considered" in page
    assert found.basis.as_text() in page


def test_series_against_the_best(client, cast):
    page = read_page(client, cast, f"{SERIES}?against=best")
    assert f"difference to {read_series(cast.on, 'TC1').entries[0].entry}" in page


def test_series_of_one_trial_has_no_responses_and_says_so(client, cast):
    Trial.objects.exclude(name="home-2031").update(series="other")
    assert "One trial only" in read_page(client, cast, SERIES)


def read_pdf(pdf: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(pdf)
    pages = [document[at].get_textpage().get_text_range() for at in range(len(document))]
    document.close()
    return pages


def test_report_holds_every_entry_every_field_and_the_same_sentences(client, cast):
    report = make_analysis_report(cast.on, "TC1", TRAITS[0])
    pages = read_pdf(render_analysis_report(report))
    text = " ".join(" ".join(pages).split())
    for one in report.series.entries:
        assert one.entry in text
        assert f"{one.value:,.0f}" in text
    for name in report.series.trials:
        assert name in text
    assert "Best at which sites?" in pages[0]
    assert "the chance that it is truly the best there is" in text
    assert "Next neighbours in the same field row" in text
    assert render_analysis_report(report) == render_analysis_report(report)
    client.force_login(cast.people["cooperator"])
    answer = client.get(f"{SERIES}report.pdf?{DAY}")
    assert answer.headers["Content-Type"] == "application/pdf"
    assert read_pdf(answer.content)[0].startswith("Analysis of TC1")


def test_report_from_the_command_line(cast, tmp_path, capsys):
    out = tmp_path / "report.pdf"
    assert run(["analysis-report", "TC1", "--today", "2031-12-01", "--trait", "moisture_pct", "--out", str(out)]) == 0
    assert "Moisture" in read_pdf(out.read_bytes())[0]
    assert "Rests on" in capsys.readouterr().err
    newest = tmp_path / "newest.pdf"
    assert run(["analysis-report", "--today", "2031-12-01", "--out", str(newest)]) == 0
    assert run(["analysis-report", "nothing", "--today", "2031-12-01", "--out", str(out)]) == 1
    assert "no series 'nothing'" in capsys.readouterr().err
