from datetime import date, time

from django.apps import AppConfig
from django.core.management import call_command


class ProjectConfig(AppConfig):
    """Makes the project's commands and its daily chore known; it has no tables."""

    name = "clinic.project"
    label = "project"

    def ready(self) -> None:
        # Every process must know the Celery app, or what it publishes goes to Celery's default broker.
        from clinic import jobs  # noqa: PLC0415  needs loaded models
        from clinic.project import celery  # noqa: PLC0415, F401  reads the settings

        jobs.register_chore(jobs.Chore("ended sessions", time(3, 40), clear_ended_sessions))


def clear_ended_sessions(day: date) -> None:
    """Delete the sessions that ran out: Django keeps their rows, and with them who was signed in."""
    call_command("clearsessions")
