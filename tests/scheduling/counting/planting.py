"""Lose what is owed by direct SQL, as somebody with the password of the database could."""

from django.db import connection

from clinic.trail import triggers
from lesions.analysis import pipeline
from lesions.analysis.picture import reading_process
from scheduling.counting import duty_count

MANY = 20
GONE, ENDED = (
    "DELETE FROM clinic_duty WHERE id = %s",
    "UPDATE clinic_duty SET ended_at = opened_at, evidence = 'clinic.step:1' WHERE id = %s",
)


def sql(text, *keys):
    """Once for each key, as somebody with the password of the database would, past every guard of the program."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA ignore_check_constraints = ON")
        for table in triggers.tables():
            for verb in ("update", "delete"):
                on = "" if connection.vendor == "sqlite" else f" ON {table}"
                cursor.execute(f"DROP TRIGGER IF EXISTS {triggers.name(table, verb)}{on}")
        for key in keys:
            cursor.execute(text, [key])
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA ignore_check_constraints = OFF")


def lost():
    return {row.code: set(row.lost) for row in duty_count.lost_now()}


def measure_like_the_first(monkeypatch):
    """Every picture reads and measures like the first one: what is lost here is rows, and twenty are filed at once."""
    for module, name in ((pipeline, "measure"), (reading_process, "clean")):
        monkeypatch.setattr(module, name, _answer_once(getattr(module, name)))


def _answer_once(ask):
    answers = []

    def answer(*given, **more):
        if not answers:
            answers.append(ask(*given, **more))
        return answers[0]

    return answer
