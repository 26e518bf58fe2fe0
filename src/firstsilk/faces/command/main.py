"""Which commands are there, and who answers them?

The `firstsilk` command. The list below is all that is read for ``--help``; the module behind a command is
imported only when that command runs, so that help answers at once.
"""

from __future__ import annotations

import importlib
import io
import json
import os
import re
import sys
from dataclasses import dataclass
from typing import Any

import click

from firstsilk import __version__
from firstsilk.answers import FirstsilkError, StationFault, refuse

DOORS = "Doors: file in, file out, no station needed"
YEAR = "The year at the station"
HOUSE = "The station's house-keeping"


@dataclass(frozen=True, slots=True)
class Entry:
    """One command: its name, the module and Typer app behind it, its part of the help, its line there."""

    name: str
    target: str
    part: str
    line: str


ENTRIES: tuple[Entry, ...] = (
    Entry("heat", "heat:heat", DOORS, "heat units by day and in total, in a named scale"),
    Entry("frost", "climate:frost", DOORS, "dates of first autumn and last spring frost by probability"),
    Entry("ripen", "ripening:ripen", DOORS, "chance of ripening before the killing frost"),
    Entry("forecast", "forecast:forecast", DOORS, "silk and shed dates with their spread"),
    Entry("nick", "nick:nick", DOORS, "sowing dates so that parents meet"),
    Entry("crew", "crew:crew", DOORS, "workers needed by day"),
    Entry("pollen-window", "pollen:pollen_window", DOORS, "hours in which pollen is dry and alive, as a range"),
    Entry("kin", "lineage:kin", DOORS, "inbreeding and coancestry from a pedigree table"),
    Entry("pedigree", "lineage:pedigree", DOORS, "read a pedigree string: tree and shares"),
    Entry("markers", "markers:markers", DOORS, "call rate, heterozygosity, allele frequency of markers"),
    Entry("marker-identity", "markers:marker_identity", DOORS, "are two samples of one line, by their markers?"),
    Entry("marker-parents", "markers:marker_parents", DOORS, "is this its parent, is this the cross of these two?"),
    Entry("marker-kin", "prediction:marker_kin", DOORS, "relationship by markers, alone or with the pedigree"),
    Entry("predict-lines", "prediction:predict_lines", DOORS, "untested lines from markers, and how far to trust it"),
    Entry("design", "trials:design", DOORS, "lay out a trial"),
    Entry("fit", "analysis:fit", DOORS, "fit a mixed model to plot data"),
    Entry("compare-models", "comparing:compare_models", DOORS, "does a mixed model need this random term?"),
    Entry("fit-traits", "series:fit_traits", DOORS, "fit the same mixed model to many traits"),
    Entry("genetic-correlation", "two_traits:genetic_correlation", DOORS, "correlation of two traits by their genes"),
    Entry("two-stage", "series:two_stage", DOORS, "analyse a series of trials: each by itself, then all means"),
    Entry("ability", "ability:ability", DOORS, "general and specific combining ability"),
    Entry("plot-doubts", "plot_doubts:plot_doubts", DOORS, "odd plots, drift, a shifted pass in a trial's plot data"),
    Entry("stability", "stability:stability", DOORS, "how entries respond to environments"),
    Entry("merit", "unbuilt:merit", DOORS, "an index with verdicts"),
    Entry("seed", "seed:seed", DOORS, "which lots cover a need for kernels"),
    Entry("pollinations-needed", "amounts:pollinations_needed", DOORS, "pollinations and rows for ears and kernels"),
    Entry("plants-needed", "amounts:plants_needed", DOORS, "plants to grow to find a genotype"),
    Entry("kernels-needed", "amounts:kernels_needed", DOORS, "kernels to sow for the plants of a plan"),
    Entry("season", "climate_year:season", YEAR, "heat units of this season against past years"),
    Entry("morning", "morning:morning", YEAR, "how the season stands: heat, flowering, hands, who meets, frost"),
    Entry("ripening", "ripening_year:ripening", YEAR, "which hybrids ripen before the killing frost"),
    Entry("weather", "climate_year:weather", YEAR, "add measured days or hours to the books, or a forecast"),
    Entry("feed", "feeds_year:feed", YEAR, "where new days come from by themselves: a folder or an address"),
    Entry("weather-years", "climate_year:weather_years", YEAR, "years of weather generated from a site's own"),
    Entry("lines", "lineage_year:lines", YEAR, "lines and hybrids with their seed"),
    Entry("line", "lineage_year:line", YEAR, "the history of one line"),
    Entry("add-line", "add_line_year:add_line", YEAR, "add a line or hybrid to the books"),
    Entry("line-names", "line_names_year:line_names", YEAR, "other names of lines; --add writes one down"),
    Entry("merge-lines", "line_names_year:merge_lines", YEAR, "two records found to be one line; --undo takes it back"),
    Entry("bring-markers", "marker_year:bring_markers", YEAR, "markers of samples into the books, all or nothing"),
    Entry("marker-checks", "marker_year:marker_checks", YEAR, "do the books' markers bear out what they say of lines?"),
    Entry("sample-aside", "marker_year:sample_aside", YEAR, "let a wrong sample of markers count no longer"),
    Entry(
        "predict-untested", "marker_year:predict_untested", YEAR, "untested lines by markers, and how far to trust it"
    ),
    Entry("plan", "nursery_year:plan", YEAR, "crosses and selfs into rows, kernels, lots, sowing days"),
    Entry("plan-seed", "plan_seed_year:plan_seed", YEAR, "is there seed for all of a plan, and from which lots"),
    Entry("sowing-dates", "nursery_year:sowing_dates", YEAR, "who meets in the nursery, and who is at risk"),
    Entry("sow", "nursery_year:sow", YEAR, "what was sown, with as-planted corrections"),
    Entry("day", "flowering_year:day", YEAR, "today's list: look, bag, pollinate, pick, and why"),
    Entry("targets", "flowering_year:targets", YEAR, "chance of each target, how many more, when to stop"),
    Entry("crew-plan", "crew_year:crew_plan", YEAR, "workers needed by day against the season's crew; sets the crew"),
    Entry("people", "people_year:people", YEAR, "who is in the crew, by code: team, days, hours, what is allowed"),
    Entry("work-rule", "people_year:work_rule", YEAR, "what an age band may do and how long; local law decides"),
    Entry("work-quality", "set_year:work_quality", YEAR, "how one person's work goes beside what is expected"),
    Entry("pollen-hours", "crew_year:pollen_hours", YEAR, "hours in which pollen is dry on the coming days"),
    Entry("supplies", "crew_year:supplies", YEAR, "bags, clips, tags for the season and the week"),
    Entry("cutoff", "crew_year:cutoff", YEAR, "what each last day of pollinating gives; --set writes one down"),
    Entry("spray", "spray_year:spray", YEAR, "post a spray: its rows are shut until the interval is over; change one"),
    Entry("note", "flowering_year:note", YEAR, "write one note about a row"),
    Entry("notes", "flowering_year:notes", YEAR, "the newest notes; --verify walks their chain"),
    Entry("bring-notes", "closing_year:bring_notes", YEAR, "bring a phone's notes: its file, or pictures of its film"),
    Entry("close-day", "closing_year:close_day", YEAR, "close a day: what came, what is missing, the newest note"),
    Entry("to-settle", "closing_year:to_settle", YEAR, "what was laid aside, and notes corrected twice"),
    Entry("settle-aside", "closing_year:settle_aside", YEAR, "what became of a thing laid aside: a note, or nothing"),
    Entry("keep-correction", "closing_year:keep_correction", YEAR, "of several corrections of a note keep one"),
    Entry("harvest", "seed_year:harvest", YEAR, "ears and kernels in; --lots makes lots of them"),
    Entry("pick-list", "harvest_year:pick_list", YEAR, "rows ripe to pick, in walking order, with their bags"),
    Entry("pick", "harvest_year:pick", YEAR, "note ears picked, or left and why, by bag or row"),
    Entry("ears", "harvest_year:ears", YEAR, "ears against pollinations, by row and by bag"),
    Entry("crate-tags", "harvest_year:crate_tags", YEAR, "give out and print tags for drying crates"),
    Entry("crates", "harvest_year:crates", YEAR, "what is in each drying crate, and is it dry?"),
    Entry("crate", "harvest_year:crate", YEAR, "note ears put into a crate, or its moisture"),
    Entry("shell", "harvest_year:shell", YEAR, "kernels of an ear, and the lot they become"),
    Entry("unshell", "harvest_year:unshell", YEAR, "take back what was shelled into a lot"),
    Entry("lots", "seed_year:lots", YEAR, "lots with stock, promised and free kernels"),
    Entry("lot", "seed_year:lot", YEAR, "one lot: from where, to where; take or count"),
    Entry("weigh", "seed_room:weigh", YEAR, "kernels of a lot by weight, before and after"),
    Entry("germination", "seed_room:germination", YEAR, "germination tests of a lot with their intervals; enter one"),
    Entry("split", "seed_room:split", YEAR, "put kernels of a lot into a lot of their own"),
    Entry("bulk", "seed_room:bulk", YEAR, "mix kernels of several lots into one"),
    Entry("place", "seed_store:place", YEAR, "write down where a lot lies"),
    Entry("box", "seed_store:box", YEAR, "what lies on a shelf or in a box"),
    Entry("promises", "seed_store:promises", YEAR, "kernels promised to rows and trials; give a promise up"),
    Entry("lot-note", "seed_notes:lot_note", YEAR, "key back what was taken, weighed or thrown away"),
    Entry("seed-notes", "seed_notes:seed_notes", YEAR, "notes of the seed room not booked yet; --book books them"),
    Entry("keeping", "seed_store:keeping", YEAR, "which lots to count, test, regrow or discard, and why"),
    Entry("remnant", "seed_store:remnant", YEAR, "is each increase sown from remnant seed?"),
    Entry("success", "seed_year:success", YEAR, "good ears a pollination and kernels an ear by line, from the notes"),
    Entry("set-causes", "set_year:set_causes", YEAR, "what went with good and poor seed set, ranked with intervals"),
    Entry("testcross", "trials_year:list_testcrosses", YEAR, "which lines should meet which tester, and why"),
    Entry("trial", "trials_year:trial", YEAR, "lay out a trial and reserve its seed, or show one"),
    Entry("packets", "trials_year:packets", YEAR, "a trial's packets in planting order; --pack books them"),
    Entry("plots", "trials_year:plots", YEAR, "plot data of a trial in, all or nothing"),
    Entry("plot-quality", "plot_quality_year:plot_quality", YEAR, "what is doubtful among a trial's plots"),
    Entry("analyse", "analysis_year:analyse", YEAR, "estimates of entries and lines over trials"),
    Entry(
        "combining-ability",
        "combining_year:combining_ability",
        YEAR,
        "which lines combine well with testers, over the trials",
    ),
    Entry("traits-together", "together_year:traits_together", YEAR, "do two traits go together by their genes?"),
    Entry("analysis-report", "analysis_year:analysis_report", YEAR, "print the analysis of one series, with pictures"),
    Entry("choose", "choice_year:choose", YEAR, "verdicts with reasons: propose, accept, write down"),
    Entry("next-plan", "choice_year:next_plan", YEAR, "next season's selfs and crosses from the verdicts"),
    Entry("account", "accounts:account", HOUSE, "make an account for the desk"),
    Entry("demo", "demo.command:demo", HOUSE, "build the invented station, run its year, serve it"),
    Entry("tags", "paper_year:tags", YEAR, "print a tag for each row of the season"),
    Entry("walk-book", "paper_year:walk_book", YEAR, "print the rows in walking order, with boxes to fill"),
    Entry("sowing-calendar", "paper_year:sowing_calendar", YEAR, "print what is sown on which day, with boxes to tick"),
    Entry("day-sheet", "paper_year:day_sheet", YEAR, "print today's list for a crew leader"),
    Entry("tally-cards", "field_papers:tally_cards", YEAR, "print cards to count bags and ears on"),
    Entry("walk-sheets", "field_papers:walk_sheets", YEAR, "print the day's tasks in walking order, to tick"),
    Entry("bag-tags", "field_papers:bag_tags", YEAR, "print labels with new codes for tassel bags"),
    Entry("bag-sheets", "field_papers:bag_sheets", YEAR, "print sheets for bag codes: male row, then ears"),
    Entry("paper-sheets", "field_papers:paper_sheets", YEAR, "sheets printed and how far each is keyed back"),
    Entry("key-in", "field_papers:key_in", YEAR, "key sheets in from a table; --settle makes their notes"),
    Entry("lot-labels", "paper_year:lot_labels", YEAR, "print labels for seed lots"),
    Entry("audit", "audit_year:audit", HOUSE, "look through the books for what cannot be, is unlikely or not told"),
    Entry("serve", "serve:serve", HOUSE, "put the station's pages on the network"),
    Entry("bring", "bring:bring", HOUSE, "bring a station's own tables into the books"),
    Entry("blank-tables", "bring:blank_tables", HOUSE, "write the tables to fill in, each with an example row"),
    Entry("daily", "bring:daily", HOUSE, "make daily weather from hourly readings"),
)


_PLAIN_WORDS = (
    (r"Value error, ", ""),
    (
        r"('[^']*') does not match the formats '%Y-%m-%d'\.?",
        r"\1 is not a date. Write it as year-month-day: 2031-07-21.",
    ),
    (r"Input should be a valid number, unable to parse string as a number", "this is not a number."),
    (r"Input should be a valid integer, unable to parse string as an integer", "this is not a whole number."),
    (r"Input should be greater than or equal to (\S+)", r"this must be \1 or more."),
    (r"Input should be less than or equal to (\S+)", r"this must be \1 or less."),
)


class _Commands(click.Group):
    """A group that knows its commands by name and imports one only when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [entry.name for entry in ENTRIES]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        for entry in ENTRIES:
            if entry.name == cmd_name:
                return load_command(entry)
        return None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        for part in dict.fromkeys(entry.part for entry in ENTRIES):
            with formatter.section(part):
                formatter.write_dl([(entry.name, entry.line) for entry in ENTRIES if entry.part == part])


def load_command(entry: Entry) -> click.Command:
    """Import the module behind a command and make the command of it."""
    import typer

    module, _, name = entry.target.partition(":")
    function = getattr(importlib.import_module(f"firstsilk.faces.command.{module}"), name)
    app = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    anything = {"ignore_unknown_options": True, "allow_extra_args": True} if module == "unbuilt" else None
    app.command(name=entry.name, context_settings=anything)(function)
    command: Any = typer.main.get_command(app)
    return command  # type: ignore[no-any-return]


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(__version__, prog_name="firstsilk")
def _firstsilk() -> None:
    """Breed early maize: plan the year, forecast it, record it in the field, decide from trial data."""


def run(arguments: list[str]) -> int:
    """Run one command line; return its exit code: 0 done, 1 an error or refusal, 2 wrong usage."""
    try:
        # Commands return nothing; click hands back an exit code when it ended early (help, version).
        code = _firstsilk.main(args=arguments, prog_name="firstsilk", standalone_mode=False)
        sys.stdout.flush()
        return code if isinstance(code, int) else 0
    except FirstsilkError as error:
        return _tell(error, as_json="--json" in arguments)
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return 1
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except UnicodeEncodeError as error:
        print(f"{error.object[:80]!r} holds signs that are no text. Write it again.", file=sys.stderr)
        return 1
    except OSError as error:
        print(f"{error.filename or 'what is written'}: {error.strerror or error}.", file=sys.stderr)
        return 1
    except Exception as error:
        fault = _find_no_of_books(error)
        if fault is not None:
            return _tell(fault, as_json="--json" in arguments)
        # Typer brings its own copy of click, so its errors are known by what they can do.
        code = getattr(error, "exit_code", None)
        if code is None:
            raise
        if hasattr(error, "message"):
            error.message = _speak_plainly(str(error.message))
        if hasattr(error, "show"):
            error.show()
        return int(code)


def _speak_plainly(message: str) -> str:
    """What the command line's reader says of a wrong value, in words for people who do not program."""
    for theirs, ours in _PLAIN_WORDS:
        message = re.sub(theirs, ours, message)
    return message


def _find_no_of_books(error: Exception) -> FirstsilkError | None:
    """Books that do not answer, or cannot hold what was given, as a no of ours; Django is not imported for it."""
    database = sys.modules.get("django.db.utils")
    if database is None:
        return None
    if isinstance(error, database.DataError):
        return refuse("too_large", "A text or number here is larger than the books can hold.", "Shorten it.")
    kinds = database.OperationalError | database.InterfaceError
    # A file that is no database comes as the bare root of the tree; its other branches are faults of ours.
    if not isinstance(error, kinds) and type(error) is not database.DatabaseError:
        return None
    said = str(error).strip().splitlines() or [type(error).__name__]
    return StationFault(f"The station's books did not answer: {said[0].rstrip('.')}.")


def _tell(error: FirstsilkError, as_json: bool) -> int:
    findings = getattr(error, "findings", ())
    for finding in findings:
        print(finding.as_text(), file=sys.stderr)
    if not findings:
        print(str(error), file=sys.stderr)
    if as_json:
        # A name from the command line may hold bytes that are no text.
        print(json.dumps(error.as_json(), ensure_ascii=False).encode("utf-8", "backslashreplace").decode())
    return 1


def main() -> None:
    """The entry point of the installed command. What goes out is UTF-8 with plain line ends, whatever the machine."""
    if sys.stdout is None:  # closed by whoever called
        print("Standard output is closed: the answer has nowhere to go.", file=sys.stderr)
        sys.exit(1)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(encoding="utf-8", newline="")
    sys.exit(run(sys.argv[1:]))
