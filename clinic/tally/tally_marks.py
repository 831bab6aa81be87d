"""Mark in the database, by triggers, that something was written which the masthead counts: no writer can forget it.

The same marks say that an answer is old which a process keeps (`kept_answers.py`).

A mark stands in the transaction of what it marks, so that a page sees both or neither. Made anew after every migrate,
for the reason of `clinic/trail/triggers.py`.
"""

from typing import Any

from django.apps import apps
from django.db import connections

from clinic.models import Tally, TallyMark
from clinic.tally import kept_answers, tally_question

_VERBS = ("INSERT", "UPDATE", "DELETE")
_MARKS = TallyMark._meta.db_table
# On SQLite one row, written again: it has one writer.
_MARK_AGAIN = (
    f"INSERT INTO {_MARKS} (id, times) VALUES (1, 1) ON CONFLICT (id) DO UPDATE SET times = times + 1"
)
# On PostgreSQL once for a transaction, and none where a statement found no row.
_MARK_ONCE = f"""
CREATE OR REPLACE FUNCTION quarterday_marks_the_tally() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
    IF EXISTS (SELECT 1 FROM changed) THEN
        INSERT INTO {_MARKS} (id, times) VALUES (pg_current_xact_id()::text::bigint, 1) ON CONFLICT DO NOTHING;
    END IF;
    RETURN NULL;
END $$
"""


def tables() -> set[str]:
    """Name the tables that the counts and the kept answers read, taken from the questions themselves."""
    questions = [tally_question.question().sql, *kept_answers.questions()]
    # A table between two models is named nowhere else.
    names = {model._meta.db_table for model in apps.get_models(include_auto_created=True)}
    asked = {table for table in names if any(f'"{table}"' in question for question in questions)}
    return asked | {model._meta.db_table for model in kept_answers.read_besides()}


def name(table: str, verb: str) -> str:
    return f"{table}_marks_{verb.lower()}"


def recreate(*, using: str = "default", **_: Any) -> None:
    """Make the triggers anew, and keep no number of before; called after each migrate."""
    connection = connections[using]
    present = set(connection.introspection.table_names())
    if not {_MARKS, Tally._meta.db_table} <= present:
        return
    statement = _sqlite if connection.vendor == "sqlite" else _postgres
    with connection.cursor() as cursor:
        if connection.vendor != "sqlite":
            cursor.execute(_MARK_ONCE)
        stands = _standing(cursor) if connection.vendor != "sqlite" else set()
        # `migrate` of one app alone: tables of the others may not be there yet.
        for table in sorted(tables() & present):
            for verb in _VERBS:
                if name(table, verb) not in stands:
                    cursor.execute(statement(table, verb))
    # A migration may have written while the triggers were gone; and in a restored database an old mark could bear the
    # number that a new transaction gets.
    for model in (Tally, TallyMark):
        model._default_manager.using(using).all().delete()


def _standing(cursor: Any) -> set[str]:
    """Name the triggers that stand; their text never changes, and to make a hundred anew takes seconds."""
    cursor.execute("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal")
    return {name for (name,) in cursor.fetchall()}


def _sqlite(table: str, verb: str) -> str:
    return (
        f"CREATE TRIGGER IF NOT EXISTS {name(table, verb)} AFTER {verb} ON {table} BEGIN {_MARK_AGAIN}; END"
    )


def _postgres(table: str, verb: str) -> str:
    rows = "OLD" if verb == "DELETE" else "NEW"
    return (
        f"CREATE TRIGGER {name(table, verb)} AFTER {verb} ON {table} "
        f"REFERENCING {rows} TABLE AS changed FOR EACH STATEMENT EXECUTE FUNCTION quarterday_marks_the_tally()"
    )
