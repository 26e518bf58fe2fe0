"""How do markers come into the books from the shell, and what do they say there?"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Annotated

import typer

# Before numpy is loaded: threads that wait for each other cost more than they give on a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_json, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books

if TYPE_CHECKING:
    from firstsilk.work.lineage.markers import SampleFacts

JUDGED = (
    *("line", "check", "sample", "against", "verdict", "compared", "contradicting", "expected", "limit"),
    *("likelier", "instead", "why"),
)
SAMPLES = (
    *("sample", "line", "generation", "lot", "row", "sampled_on", "call_rate", "heterozygosity"),
    *("expected_heterozygosity", "verdict"),
)

FORETOLD = ("line", "group", "family", "tested", "estimate", "foretold", "reliability", "trust")

Panel = Annotated[str, typer.Option("--panel", help="Name of the panel; the newest if absent.")]


def bring_markers(
    markers: Annotated[str, typer.Argument(metavar="FILE", help="VCF (.vcf, .vcf.gz) or a table, as for markers.")],
    panel: Annotated[str, typer.Option("--panel", help="Name of the set of markers; a new name makes a new panel.")],
    sheet: Annotated[
        str, typer.Option("--sheet", help="Table: sample[, line][, lot][, row][, sampled_on]; row is a row's tag.")
    ] = "",
    of_map: Annotated[
        str, typer.Option("--map", help="Table: marker, chromosome, position_bp, where the file does not say it.")
    ] = "",
    station: StationCode = "",
    today: Today = "",
    as_json: AsJson = False,
) -> None:
    """Bring the markers of samples into the books: all of the file, or nothing.

    A sample is of the line of its own name, or of the one that its sheet names. Several samples of a line may come. The
    same file may be sent again: samples that are there are passed over.
    """
    from firstsilk.faces.files.marker_sheets import give_markers, read_sheet_file
    from firstsilk.faces.files.markers import read_markers

    given = give_markers(
        read_markers(markers),
        read_sheet_file(sheet) if sheet else None,
        read_sheet_file(of_map) if of_map else None,
    )
    on = open_books(station, today)
    from firstsilk.work.lineage import bring_markers as bringing

    done = bringing.bring_markers(on, panel, given)
    for told in done.told:
        say(told)
    if as_json:
        more = {"panel": done.panel, "is_new": done.is_new, "markers": done.n_markers, "new": done.n_new}
        give_json({**more, "there_already": done.n_same, "lines": done.n_lines, "basis": done.basis.as_text()})
        return
    new = "new panel" if done.is_new else "panel"
    print(f"{new.capitalize()} {done.panel}, {done.n_markers:,} markers: {done.n_new:,} samples are new, "
          f"{done.n_same:,} there already, of {done.n_lines:,} lines.")  # fmt: skip


def marker_checks(
    line: Annotated[str, typer.Argument(help="Only this line, by any of its names; all if absent.")] = "",
    panel: Panel = "",
    verdict: Annotated[str, typer.Option("--verdict", help="Only disagrees, cannot_tell or agrees.")] = "",
    samples: Annotated[bool, typer.Option("--samples", help="A row a sample instead of a row a claim.")] = False,
    station: StationCode = "",
    today: Today = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Do the markers in the books bear out what the books say of each line?

    check: identity (samples of one line), parent, cross (a first cross of these two), descent (a line out of their
    cross), heterozygosity (against its generation). verdict: agrees, disagrees, cannot_tell; likelier and instead say
    what it looks like if it disagrees.
    """
    if verdict not in ("", "agrees", "disagrees", "cannot_tell"):
        raise refuse("word_unknown", f"There is no verdict {verdict!r}.", "Use agrees, disagrees or cannot_tell.")
    if line and panel:
        raise typer.BadParameter("A line is judged by all panels: leave --panel out.")
    on = open_books(station, today)
    from firstsilk.work.lineage.markers import read_line_markers, read_markers

    told = read_line_markers(on, line) if line else read_markers(on, panel)
    say(told.basis.as_text())
    if samples:
        rows = [_tell_sample(one) for one in told.samples if verdict in ("", one.verdict)]
        give_result(SAMPLES, rows, out, as_json, {"basis": told.basis.as_text()})
        return
    found = [
        (
            *(one.line, one.check, one.sample, " x ".join(one.against), one.verdict, one.compared, one.contradicting),
            *(round(one.expected, 6), one.limit, one.likelier, one.instead, one.why),
        )
        for one in told.judged
        if verdict in ("", one.verdict)
    ]
    give_result(JUDGED, found, out, as_json, {"basis": told.basis.as_text()})


def _tell_sample(one: SampleFacts) -> tuple[object, ...]:
    return tuple(getattr(one, name) for name in SAMPLES)


def sample_aside(
    sample: Annotated[str, typer.Argument(help="Name of the sample.")],
    reason: Annotated[str, typer.Option("--reason", help="How it was found to be wrong.")],
    panel: Panel = "",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Let a wrong sample of markers count no longer; it stays in the books with the reason."""
    on = open_books(station, today)
    from firstsilk.work.lineage.bring_markers import set_sample_aside

    line = set_sample_aside(on, panel, sample, reason)
    print(f"Sample {sample} of {line} counts no longer.")


def predict_untested(
    trait: Annotated[str, typer.Option("--trait", help="yield_kg_ha_15_5, moisture_pct or erect_frac.")] = "",
    panel: Panel = "",
    seed: Annotated[int, typer.Option("--seed", min=0, help="Seed of the dealing when lines are left out.")] = 1,
    every: Annotated[bool, typer.Option("--every-line", help="Tested lines too.")] = False,
    station: StationCode = "",
    today: Today = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """What untested lines are worth, by their markers and the newest analysis; written down as a result.

    reliability is what the model believes of a line, trust how well the lines of its family were ranked when they were
    left out: ranks_well, ranks_roughly, not_shown, not_measured.
    """
    on = open_books(station, today)
    from firstsilk.work.lineage import untested

    found = untested.predict_untested(on, trait, panel, seed)
    families = [str(one["words"]) for one in found.families if one["untested"]]
    for sentence in (*found.said, *families, found.basis.as_text()):
        say(sentence)
    rows = [tuple(getattr(one, name) for name in FORETOLD) for one in found.lines if every or not one.tested]
    more = {"trait": found.trait, "of": found.of, "families": found.families, "basis": found.basis.as_text()}
    give_result(FORETOLD, rows, out, as_json, more)
