"""What was decided, by whom and why?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from django.db import transaction

from firstsilk.answers import Finding, Place, refuse, stop_if_any
from firstsilk.records.models import Account, Line, Result, Role, Station, Verdict
from firstsilk.work.choice.facts import (
    VERDICTS,
    Candidate,
    ChoiceList,
    ChoicePage,
    ChoiceSettings,
    Decision,
    VerdictFacts,
)
from firstsilk.work.choice.propose import propose_verdicts
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import find_lines, get_station


def decide(on: Occasion, year: int, verdicts: Sequence[Decision], settings: ChoiceSettings | None = None) -> ChoiceList:
    """Write down verdicts, all or none; a later verdict does not erase an earlier one.

    Parameters
    ----------
    on
        The occasion; `who` must be a breeder, or ``command``.
    year
        The year of the choice.
    verdicts
        One decision for each line or hybrid decided on.
    settings
        Those the proposal was made with.

    Returns
    -------
    ChoiceList
        The standing verdicts of the year.

    Raises
    ------
    InputRefused
        If the person may not decide, a line is no candidate or stands twice, a verdict is none of the three, or it
        differs from the proposal without a reason.

    Notes
    -----
    The proposal is worked out again here and stored beside the verdict, with the analysis it rests on. A verdict
    that stands already with the same reason is not written twice.
    """
    station = get_station(on.station)
    _check_person(on, station)
    known = find_lines(station, [one.line for one in verdicts])
    verdicts = [replace(one, line=known[one.line].name) if one.line in known else one for one in verdicts]
    with transaction.atomic():
        # Two who decide at once: the second waits, and then finds the verdicts of the first.
        Station.objects.select_for_update().get(pk=station.pk)
        proposal = propose_verdicts(on, year, settings or ChoiceSettings())
        candidates = {one.line: one for one in proposal.candidates}
        stop_if_any(_check_decisions(verdicts, candidates))
        n_written = _write(on, station, proposal, candidates, verdicts)
    return read_choices(on, year, n_written)


def read_choices(on: Occasion, year: int, n_written: int = 0) -> ChoiceList:
    """The standing verdicts of a year: the latest on each line or hybrid, go on first."""
    station = get_station(on.station)
    verdicts = Verdict.objects.filter(station=station, year=year, decided_on__lte=on.today).select_related("line")
    latest = {one.line_id: one for one in verdicts.order_by("id")}
    standing = sorted(latest.values(), key=lambda one: (VERDICTS.index(one.verdict), one.line.name))
    told = tuple(
        VerdictFacts(
            one.line.name,
            one.line.kind,
            one.line.group,
            one.year,
            one.verdict,
            one.proposed,
            one.reason,
            one.decided_on,
            one.decided_by,
        )
        for one in standing
    )
    return ChoiceList(year, told, n_written, Basis((("verdicts", len(told)),)))


def _check_person(on: Occasion, station: Station) -> None:
    if on.who == "command":
        return
    account = Account.objects.filter(station=station, username=on.who).first()
    if account is None or account.role != str(Role.BREEDER):
        raise refuse("not_the_breeder", f"{on.who!r} may not decide.", "A breeder decides who goes on.", who=on.who)


def _check_decisions(verdicts: Sequence[Decision], candidates: dict[str, Candidate]) -> list[Finding]:
    findings = []
    seen: set[str] = set()
    for one in verdicts:
        if one.line not in candidates:
            repair = "Decide on those that the analysis tells of"
            findings.append(
                _finding(one, "not_a_candidate", "this is no candidate of the year", "line", one.line, repair)
            )
            continue
        if one.line in seen:
            findings.append(_finding(one, "line_twice", "there are two verdicts on it", "line", one.line, "Give one"))
        seen.add(one.line)
        proposed = candidates[one.line].verdict
        if one.verdict not in VERDICTS:
            repair = f"Use one of {', '.join(VERDICTS)}"
            findings.append(
                _finding(one, "verdict_unknown", f"{one.line}: no such verdict", "verdict", one.verdict, repair)
            )
        elif one.verdict != proposed and not one.reason.strip():
            message = f"{one.line}: the figures propose {_say(proposed)}, you decide {_say(one.verdict)}"
            findings.append(_finding(one, "reason_missing", message, "reason", "", "Write down why"))
    return findings


def _say(verdict: str) -> str:
    return verdict.replace("_", " ")


def _finding(one: Decision, code: str, message: str, column: str, value: str, repair: str) -> Finding:
    return Finding(code, message, Place(one.place.file, one.place.line, column), value, repair)


def _write(
    on: Occasion,
    station: Station,
    proposal: ChoicePage,
    candidates: dict[str, Candidate],
    verdicts: Sequence[Decision],
) -> int:
    lines = {line.name: line for line in Line.objects.filter(station=station, name__in=[d.line for d in verdicts])}
    standing = Verdict.objects.filter(station=station, year=proposal.year).order_by("id")
    before = {one.line_id: one for one in standing}
    evidence = Result.objects.get(pk=proposal.analysis)
    fresh = []
    for one in verdicts:
        line = lines[one.line]
        candidate = candidates[one.line]
        reason = (one.reason.strip() or candidate.reason)[:400]
        last = before.get(line.pk)
        if last and (last.verdict, last.reason) == (one.verdict, reason):
            continue
        fresh.append(
            Verdict(
                station=station,
                line=line,
                year=proposal.year,
                verdict=one.verdict,
                reason=reason,
                evidence=evidence,
                proposed=candidate.verdict,
                decided_on=on.today,
                decided_at=on.now,
                decided_by=on.who,
            )
        )
    Verdict.objects.bulk_create(fresh, batch_size=500)
    return len(fresh)
