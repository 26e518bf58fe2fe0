"""Where does a long piece of work stand, and can it be stopped?"""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from firstsilk.work.jobs import list_jobs, read_job, stop_job
from firstsilk.work.occasion import Occasion

LEADS_TO = {"analyse": "analysis", "predict_untested": "lineage-untested"}


def show_jobs(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The newest jobs."""
    return render(request, "home/jobs.html", {"jobs": list_jobs(on)})


def show_job(request: HttpRequest, on: Occasion, number: int) -> HttpResponse:
    """One job; sent, it is asked to stop. While it goes on, its part of the page asks again every second."""
    if request.method == "POST":
        stop_job(on, number)
        return redirect("job", number)
    job = read_job(on, number)
    told = {"job": job, "leads_to": LEADS_TO.get(job.kind, ""), "percent": round(100 * job.progress_frac)}
    asks_part = bool(getattr(request, "htmx", False))
    return render(request, "home/job_state.html" if asks_part else "home/job.html", told)
