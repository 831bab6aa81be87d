"""Celery tasks: each takes ids and calls one function. And the chores of this app."""

from datetime import time

from celery import shared_task

from clinic import clock, heartbeat, jobs
from clinic.merging import likely_same
from clinic.people import carers
from clinic.tally import tally


@shared_task(name=jobs.TASK)
def do(name: str, row_ids: list[int]) -> None:
    heartbeat.beat("worker")
    jobs.WORK[name].run(row_ids)
    tally.keep_now_and_then()


@shared_task(name="clinic.tasks.sweep")
def sweep() -> int:
    """Beat sent it and a worker runs it: a sign of life of both."""
    heartbeat.beat("worker", "beat")
    tally.keep_now_and_then()
    return jobs.publish_waiting(clock.now())


@shared_task(name="clinic.tasks.chores")
def chores() -> list[str]:
    return jobs.chores(clock.now())


jobs.register_chore(jobs.Chore("came_of_age", time(0, 15), carers.find_own_numbers))
jobs.register_chore(jobs.Chore("masthead", time(2, 30), tally.check))
jobs.register_chore(jobs.Chore("same_people", time(3, 0), likely_same.find_pairs))
