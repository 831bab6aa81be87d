"""Register the background work of this app: plans that are out of date, idle claims, and the chores of the morning."""

from collections.abc import Sequence
from datetime import time

from django.utils.translation import gettext_lazy as _

from clinic import clock, jobs
from scheduling.capacity import forecast_jobs
from scheduling.counting import whereabouts
from scheduling.desk import claims
from scheduling.diary import holidays, sessions
from scheduling.planning import replan
from scheduling.recalls import closing
from scheduling.rule_changes import preview_jobs
from scheduling.today import worklists


def replan_and_list(patient_id: int) -> None:
    """Plan anew, and put who became due in the course of the day on today's list at once."""
    if replan.replan_patient(patient_id):
        worklists.catch_up([patient_id], clock.today())


def replan_and_list_many(patient_ids: Sequence[int]) -> None:
    """Plan many patients anew, and work out their lines of Today."""
    worklists.catch_up(replan.replan_many(patient_ids), clock.today())


jobs.register_work(
    jobs.Work(
        "replan",
        "quick",
        replan.patients_to_replan,
        replan_and_list,
        replan_and_list_many,
        _("Planning of recalls"),
    )
)
jobs.register_work(jobs.Work("idle_claim", "quick", claims.idle, claims.release))
jobs.register_work(jobs.Work("preview", "quick", preview_jobs.waiting, preview_jobs.work))
jobs.register_work(jobs.Work("year", "quick", forecast_jobs.waiting, forecast_jobs.work))
# In this order, before the clinic opens: hours, closed days, what became due, its list, everybody, the year ahead.
jobs.register_chore(jobs.Chore("sessions", time(4, 0), sessions.extend))
jobs.register_chore(jobs.Chore("holidays", time(4, 15), holidays.close_ahead))
jobs.register_chore(jobs.Chore("recalls_due", time(5, 0), closing.become_due))
jobs.register_chore(jobs.Chore("worklist", time(5, 30), worklists.build))
jobs.register_chore(jobs.Chore("failsafe", time(6, 0), whereabouts.count_everybody, also_late=True))
jobs.register_chore(jobs.Chore("year", time(6, 15), forecast_jobs.every_morning))
