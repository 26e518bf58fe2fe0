"""Does a long job show where it stands, stop without harm, and tell a fault as one?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

import pytest

from firstsilk.answers import InputRefused, refuse
from firstsilk.records.models import Job, Season
from firstsilk.work import jobs
from firstsilk.work.occasion import Occasion, Progress

pytestmark = pytest.mark.django_db


def clock() -> datetime:
    return datetime(2031, 12, 1, 12, tzinfo=UTC)


def use(monkeypatch, work) -> None:
    monkeypatch.setitem(jobs.KINDS, "analyse", work)


def test_job_runs_once_and_keeps_its_result_and_the_day_it_was_asked_on(on, monkeypatch) -> None:
    seen: list[Occasion] = []

    def work(at: Occasion, arguments: Mapping[str, object], progress: Progress) -> dict[str, object]:
        seen.append(at)
        progress(0.5, "half way")
        return {"answer": 42}

    use(monkeypatch, work)
    number = jobs.ask_job(on, "analyse", {"years": [2030]})
    assert jobs.read_job(on, number).state == "waiting"
    done = jobs.run_job(number, clock)
    assert (done.state, done.progress_frac, done.result) == ("done", 1.0, {"answer": 42})
    jobs.run_job(number, clock)
    assert [at.today for at in seen] == [on.today]


def test_job_asked_to_stop_while_running_leaves_the_books_as_they_were(on, monkeypatch) -> None:
    from django.db import transaction

    def work(at: Occasion, arguments: Mapping[str, object], progress: Progress) -> dict[str, object]:
        with transaction.atomic():
            Season.objects.update(cutoff_on=None)
            Job.objects.update(stop_asked=True)
            progress(0.3, "after the stop was asked")
        return {}

    use(monkeypatch, work)
    before = list(Season.objects.values_list("pk", "cutoff_on"))
    number = jobs.ask_job(on, "analyse", {})
    assert jobs.run_job(number, clock).state == "stopped"
    assert list(Season.objects.values_list("pk", "cutoff_on")) == before


def test_job_stopped_before_it_began_never_runs(on, monkeypatch) -> None:
    use(monkeypatch, lambda at, arguments, progress: pytest.fail("it ran"))
    number = jobs.ask_job(on, "analyse", {})
    assert jobs.stop_job(on, number).state == "stopped"
    assert jobs.run_job(number, clock).state == "stopped"


def test_refusal_inside_a_job_is_its_error_in_the_one_shape(on, monkeypatch) -> None:
    def work(at: Occasion, arguments: Mapping[str, object], progress: Progress) -> dict[str, object]:
        raise refuse("too_few_plots", "There are too few plots.", "Bring more.")

    use(monkeypatch, work)
    failed = jobs.run_job(jobs.ask_job(on, "analyse", {}), clock)
    assert failed.state == "failed"
    assert failed.error == {
        "no": "refusal",
        "code": "too_few_plots",
        "message": "There are too few plots.",
        "facts": {},
        "yes_if": "Bring more.",
    }


def test_fault_inside_a_job_ends_it_and_says_that_trying_again_may_help(on, monkeypatch) -> None:
    def work(at: Occasion, arguments: Mapping[str, object], progress: Progress) -> dict[str, object]:
        raise ZeroDivisionError("a fault of ours")

    use(monkeypatch, work)
    failed = jobs.run_job(jobs.ask_job(on, "analyse", {}), clock)
    assert failed.state == "failed"
    assert failed.error is not None
    assert failed.error["may_retry"] is True


def test_running_job_that_gives_no_sign_is_buried(on, monkeypatch) -> None:
    number = jobs.ask_job(on, "analyse", {})
    Job.objects.filter(pk=number).update(state="running", heartbeat_at=clock() - timedelta(seconds=jobs.SILENT_S + 1))
    assert jobs.bury_dead_jobs(clock()) == 1
    assert jobs.read_job(on, number).state == "failed"


def test_unknown_job_is_refused_with_what_there_is(on) -> None:
    with pytest.raises(InputRefused, match="analyse"):
        jobs.ask_job(on, "dance", {})


def test_job_from_a_page_goes_through_the_queue(on, monkeypatch, settings) -> None:
    from firstsilk.faces.jobs import start_job

    use(monkeypatch, lambda at, arguments, progress: {"answer": 1})
    settings.TASKS = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}
    number = start_job(on, "analyse", {})
    assert jobs.read_job(on, number).state == "done"
