"""How does a long piece of work report, and how is it stopped without harm?

A job row of our own says where the work stands; the queue beside it only carries the job's number. What runs a job
hands in the clock, as for every other work.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import Q

from firstsilk.answers import FirstsilkError, refuse
from firstsilk.records.models import Job, Station
from firstsilk.work.analysis.analyse import analyse_every_trait
from firstsilk.work.analysis.plots import TRAIT_WORDS
from firstsilk.work.lineage.untested import predict_in_job
from firstsilk.work.nursery.plan_job import plan_sowing_days
from firstsilk.work.occasion import Occasion, Progress, StopAsked
from firstsilk.work.shelf import get_station

SILENT_S = 120
"""A running job that gave no sign for so long [s] is taken for dead."""


@dataclass(frozen=True, slots=True)
class JobFacts:
    """One job as a page shows it."""

    id: int
    kind: str
    state: str
    progress_frac: float
    message: str
    asked_by: str
    asked_at: datetime
    ended_at: datetime | None
    result: Mapping[str, object] | None
    error: Mapping[str, object] | None

    @property
    def is_over(self) -> bool:
        """True once nothing more will happen."""
        return self.state in ("done", "failed", "stopped")


def _analyse(on: Occasion, arguments: Mapping[str, object], progress: Progress) -> dict[str, object]:
    """Every trait of the trials of some years; all of them are stored, or none if it is stopped or fails."""
    years = arguments.get("years")
    chosen = tuple(int(year) for year in years) if isinstance(years, list) else ()
    found, left_out = analyse_every_trait(on, chosen, 1, progress)
    told = [f"{TRAIT_WORDS[one.trait].split(',')[0].capitalize()}: {one.basis.as_text()}" for one in found]
    return {"told": [*told, *left_out]}


KINDS: dict[str, Callable[[Occasion, Mapping[str, object], Progress], dict[str, object]]] = {
    "analyse": _analyse,
    "sowing_days": plan_sowing_days,
    "predict_untested": predict_in_job,
}


def ask_job(on: Occasion, kind: str, arguments: Mapping[str, object]) -> int:
    """Write down that a job is wanted; returns its number. The caller puts it on the queue.

    The same job asked for while it waits or runs is not begun twice: its number is returned.
    """
    if kind not in KINDS:
        raise refuse("job_unknown", f"There is no job {kind!r}.", f"Jobs: {', '.join(KINDS)}.")
    told = {**arguments, "today": on.today.isoformat()}
    with transaction.atomic():
        # Two who press at once: the second waits, and then finds the job of the first.
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        alive = Q(state="waiting") | Q(state="running", heartbeat_at__gte=on.now - timedelta(seconds=SILENT_S))
        for job in Job.objects.filter(alive, station=station, kind=kind, stop_asked=False):
            if job.arguments == told:
                return job.pk
        job = Job.objects.create(station=station, kind=kind, arguments=told, asked_at=on.now, asked_by=on.who)
    return job.pk


def run_job(job_id: int, clock: Callable[[], datetime]) -> JobFacts:
    """Run one job to its end, its stop or its fault; a job that is not waiting is left alone.

    Parameters
    ----------
    job_id
        Number of the job.
    clock
        Gives the instant now.
    """
    started = Job.objects.filter(pk=job_id, state="waiting").update(
        state="running", started_at=clock(), heartbeat_at=clock()
    )
    job = Job.objects.select_related("station").get(pk=job_id)
    if not started:
        return _facts(job)
    on = Occasion(job.station.code, date.fromisoformat(job.arguments["today"]), clock(), job.asked_by)
    ending: dict[str, object]
    try:
        result = KINDS[job.kind](on, job.arguments, _reporter(job_id, clock))
        ending = {"state": "done", "progress_frac": 1.0, "result": result}
    except StopAsked:
        ending = {"state": "stopped", "message": "stopped as asked; nothing was changed"}
    except FirstsilkError as error:
        ending = {"state": "failed", "error": error.as_json(), "message": str(error)[:300]}
    except Exception as error:
        fault = {"no": "error", "code": "fault", "message": f"{type(error).__name__}: {error}", "may_retry": True}
        ending = {"state": "failed", "error": fault, "message": "a fault in the program"}
    Job.objects.filter(pk=job_id).update(ended_at=clock(), **ending)
    return _facts(Job.objects.get(pk=job_id))


def _reporter(job_id: int, clock: Callable[[], datetime]) -> Progress:
    """A progress reporter that writes at most once a second and raises `StopAsked` when a stop was asked."""
    last: list[datetime] = []

    def report(share_frac: float, message: str) -> None:
        now = clock()
        if last and (now - last[0]).total_seconds() < 1 and share_frac < 1:
            return
        last[:] = [now]
        Job.objects.filter(pk=job_id).update(
            progress_frac=min(1.0, max(0.0, share_frac)), message=message[:300], heartbeat_at=now
        )
        # What reports its end has written already: it is too late to say that nothing was changed.
        if share_frac < 1 and Job.objects.filter(pk=job_id, stop_asked=True).exists():
            raise StopAsked

    return report


def stop_job(on: Occasion, job_id: int) -> JobFacts:
    """Ask a job to stop: at once if it still waits, at its next sign of life if it runs."""
    job = _get(on, job_id)
    Job.objects.filter(pk=job.pk, state="waiting").update(state="stopped", ended_at=on.now, stop_asked=True)
    Job.objects.filter(pk=job.pk, state="running").update(stop_asked=True)
    return read_job(on, job_id)


def read_job(on: Occasion, job_id: int) -> JobFacts:
    """One job of the station."""
    return _facts(_get(on, job_id))


def list_jobs(on: Occasion, limit: int = 20) -> tuple[JobFacts, ...]:
    """The newest jobs of the station."""
    jobs = Job.objects.filter(station__code=on.station).order_by("-pk")[:limit]
    return tuple(_facts(job) for job in jobs)


def bury_dead_jobs(now: datetime) -> int:
    """Mark running jobs that gave no sign for `SILENT_S` as failed; returns how many."""
    error = {
        "no": "error",
        "code": "job_died",
        "message": "The job's process ended before its work did.",
        "may_retry": True,
    }
    return Job.objects.filter(state="running", heartbeat_at__lt=now - timedelta(seconds=SILENT_S)).update(
        state="failed", ended_at=now, error=error, message="the job's process died; ask for it again"
    )


def _get(on: Occasion, job_id: int) -> Job:
    job = Job.objects.filter(station__code=on.station, pk=job_id).first()
    if job is None:
        raise refuse("job_unknown", f"There is no job {job_id}.", "Pick it from the list of jobs.")
    return job


def _facts(job: Job) -> JobFacts:
    return JobFacts(
        job.pk,
        job.kind,
        job.state,
        job.progress_frac,
        job.message,
        job.asked_by,
        job.asked_at,
        job.ended_at,
        job.result,
        job.error,
    )
