"""Do two traits of the books' plots tell whether they share genes, and say what they rest on?"""

from __future__ import annotations

import json

import pytest
from django.test import Client

from firstsilk.answers import InputRefused
from firstsilk.faces.command.main import run
from firstsilk.records.models import PlotRecord
from firstsilk.work.analysis.together import read_traits_together
from tests.factories import sign_in
from tests.trial_cast import make_grown_cast

pytestmark = pytest.mark.django_db


def test_traits_together_when_moisture_follows_yield_in_the_genes_then_it_is_found():
    cast = make_grown_cast(30)
    plain = read_traits_together(cast.on)
    assert plain.parts[0].part == "entries (genetic)"
    assert plain.parts[-1].part == "plots"
    assert plain.n_both == plain.n_plots
    truth = cast.truth
    for record in PlotRecord.objects.select_related("plot__entry", "plot__entry__mother"):
        own = truth.get(record.plot.entry.name, truth.get(getattr(record.plot.entry.mother, "name", ""), 0.0))
        record.moisture_pct = record.moisture_pct + own / 300.0
        record.save(update_fields=["moisture_pct"])
    tied = read_traits_together(cast.on)
    assert tied.parts[0].correlation > 0.4
    assert tied.parts[0].correlation > (plain.parts[0].correlation or 0.0)
    assert tied.says.startswith("Entries with more yield")
    assert "more moisture" in tied.says
    assert "plots" in tied.basis.as_text()


def test_traits_together_when_plots_lack_one_trait_then_they_still_count():
    cast = make_grown_cast(20)
    some = list(PlotRecord.objects.order_by("pk").values_list("pk", flat=True))[::7]
    PlotRecord.objects.filter(pk__in=some).update(moisture_pct=None)
    found = read_traits_together(cast.on)
    assert found.n_plots - found.n_both == len(some)


@pytest.mark.parametrize(
    ("traits", "told"),
    [(("moisture_pct", "moisture_pct"), "Two different traits"), (("yield_kg_ha_15_5", "height"), "no trait 'height'")],
)
def test_traits_together_when_the_question_is_wrong_then_refused(traits, told):
    cast = make_grown_cast(4)
    with pytest.raises(InputRefused, match=told):
        read_traits_together(cast.on, (), *traits)


def test_traits_together_when_asked_on_a_page_or_by_command_then_the_same_figure(capsys):
    cast = make_grown_cast(20)
    found = read_traits_together(cast.on)
    client = Client()
    sign_in(client, cast.station, "breeder")
    page = client.get("/analysis/together/").content.decode()
    assert found.says in page
    assert "entries (genetic)" in page
    assert client.get("/analysis/together/?a=x&b=y&year=1999").status_code == 200
    today = cast.on.today.isoformat()
    assert run(["traits-together", "--json", "--station", cast.station.code, "--today", today]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["rows"][0]["correlation"] == pytest.approx(found.parts[0].correlation)
