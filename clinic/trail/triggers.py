"""Keep tables append-only by database triggers, made anew after every migrate.

Django rebuilds a table on SQLite when a column changes, and the rebuild drops triggers silently.
"""

from typing import Any

from django.db import connections

from clinic.models.base import AppendOnly

APPEND_ONLY: list[type[AppendOnly]] = []


def register_append_only(*models: type[AppendOnly]) -> None:
    """Have triggers refuse every change of these tables from the next migrate on."""
    APPEND_ONLY.extend(model for model in models if model not in APPEND_ONLY)


def tables() -> list[str]:
    return [model._meta.db_table for model in APPEND_ONLY]


_VERBS = ("UPDATE", "DELETE")


def name(table: str, verb: str) -> str:
    return f"{table}_no_{verb.lower()}"


def recreate(*, using: str = "default", **_: Any) -> None:
    """Make the triggers anew on every table that is only added to; called after each migrate."""
    connection = connections[using]
    present = set(connection.introspection.table_names())
    statements = _sqlite if connection.vendor == "sqlite" else _postgres
    with connection.cursor() as cursor:
        for table in tables():
            # `migrate` of one app alone: tables of the others may not be there yet.
            if table in present:
                for statement in statements(table):
                    cursor.execute(statement)


def _sqlite(table: str) -> list[str]:
    return [
        # SQLite has no CREATE OR REPLACE TRIGGER; the text never changes, so what exists is right.
        f"CREATE TRIGGER IF NOT EXISTS {name(table, verb)} BEFORE {verb} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        for verb in _VERBS
    ]


def _postgres(table: str) -> list[str]:
    function = (
        "CREATE OR REPLACE FUNCTION quarterday_append_only() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME; END $$"
    )
    triggers = [
        f"CREATE OR REPLACE TRIGGER {name(table, verb)} BEFORE {verb} ON {table} "
        "FOR EACH ROW EXECUTE FUNCTION quarterday_append_only()"
        for verb in _VERBS
    ]
    # TRUNCATE fires no row trigger, and would empty the trail in one statement.
    truncate = (
        f"CREATE OR REPLACE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION quarterday_append_only()"
    )
    return [function, *triggers, truncate]
