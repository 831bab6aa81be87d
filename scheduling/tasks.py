"""What the background does for this app: plans that are out of date, idle claims, and the chores of the morning."""

from datetime import time

from clinic import clock, jobs
from scheduling import failsafe, preview_runs, recalls, worklists, year_runs


def replan(patient_id: int) -> None:
    """Plan anew; who became due in the course of the day is on today's list at once."""
    if recalls.replan(patient_id):
        worklists.catch_up(patient_id, clock.today())


jobs.register_work(jobs.Work("replan", "quick", recalls.stale, replan))
jobs.register_work(jobs.Work("idle_claim", "quick", worklists.idle, worklists.release))
jobs.register_work(jobs.Work("preview", "quick", preview_runs.waiting, preview_runs.work))
jobs.register_work(jobs.Work("year", "quick", year_runs.waiting, year_runs.work))
jobs.register_chore(jobs.Chore("recalls_due", time(5, 0), recalls.become_due))
jobs.register_chore(jobs.Chore("worklist", time(5, 30), worklists.build))
jobs.register_chore(jobs.Chore("failsafe", time(6, 0), failsafe.count))
jobs.register_chore(jobs.Chore("year", time(6, 15), year_runs.every_morning))
