"""What in the books cannot be, is unlikely, or is not told, as a page?"""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from firstsilk.work.audit import SUBJECTS, WEIGHTS, Found, audit_books
from firstsilk.work.occasion import Occasion

MOST_SHOWN = 500
"""Findings on one page; more are counted, and the command gives them all."""
LEADS_TO = {"line": "lineage-line", "lot": "lot", "row": "row", "trial": "trial", "crate": "crates"}
"""The page of each kind of record; a crate stands on that of all crates."""


def show_audit(request: HttpRequest, on: Occasion) -> HttpResponse:
    """All findings with counts by subject and weight, those chosen by subject, weight and code."""
    done = audit_books(on)
    subject, weight, code = (request.GET.get(name, "") for name in ("subject", "weight", "code"))
    chosen = done.choose(subject, weight, code)
    counts = [(one, [(word, done.count(one, word)) for word in WEIGHTS], done.count(one)) for one in SUBJECTS]
    shown = chosen[:MOST_SHOWN]
    told: dict[str, object] = {
        "audit": done,
        "counts": counts,
        "totals": [(word, done.count("", word)) for word in WEIGHTS],
        "weights": WEIGHTS.items(),
        "subjects": SUBJECTS,
        "subject": subject,
        "weight": weight,
        "code": code,
        "groups": [(one, [_tell(found) for found in shown if found.subject == one]) for one in SUBJECTS],
        "n_chosen": len(chosen),
        "n_shown": len(shown),
        "day": on.today,
    }
    return render(request, "home/audit.html", told)


def _tell(found: Found) -> tuple[Found, str]:
    """A finding with the name of the page of its record; empty where there is none."""
    return found, LEADS_TO.get(found.kind, "")
