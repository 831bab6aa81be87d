"""Keep tables append-only by database triggers, made anew after every migrate.

Django rebuilds a table on SQLite when a column changes, and the rebuild drops triggers silently.

Of one column there is an exception: where two records are merged, a row goes to another patient. The trigger lets that
column alone change, and only where the ledger of merges says that this very row moves from this patient to that one
(`clinic/merging/moving.py` writes the ledger first). The trail itself names the record it was written about, for good.
"""

from typing import Any

from django.db import connections, models

from clinic.models import AuditRecord, MovedRow, ReadRecord
from clinic.models.base import AppendOnly

APPEND_ONLY: list[type[AppendOnly]] = []


def register_append_only(*models: type[AppendOnly]) -> None:
    """Have triggers refuse every change of these tables from the next migrate on."""
    APPEND_ONLY.extend(model for model in models if model not in APPEND_ONLY)


def tables() -> list[str]:
    return [model._meta.db_table for model in APPEND_ONLY]


def moves(model: type[models.Model]) -> bool:
    """Say whether the rows of this table go with their patient where two records are merged."""
    names = {field.name for field in model._meta.concrete_fields}
    return "patient" in names and model not in (AuditRecord, ReadRecord)


_VERBS = ("UPDATE", "DELETE")


def name(table: str, verb: str) -> str:
    return f"{table}_no_{verb.lower()}"


def recreate(*, using: str = "default", **_: Any) -> None:
    """Make the triggers anew on every table that is only added to; called after each migrate."""
    connection = connections[using]
    present = set(connection.introspection.table_names())
    statements = _sqlite if connection.vendor == "sqlite" else _postgres
    with connection.cursor() as cursor:
        for model in APPEND_ONLY:
            # `migrate` of one app alone: tables of the others may not be there yet.
            if model._meta.db_table in present:
                for statement in statements(model):
                    cursor.execute(statement)


def _written_in_the_ledger(table: str) -> str:
    return (
        f"EXISTS (SELECT 1 FROM {MovedRow._meta.db_table} m WHERE m.kept_in = '{table}' AND m.\"row\" = OLD.id "
        "AND m.moved_from = OLD.patient_id AND m.moved_to = NEW.patient_id)"
    )


def _sqlite(model: type[AppendOnly]) -> list[str]:
    table = model._meta.db_table
    return [
        # SQLite has no CREATE OR REPLACE TRIGGER; the text never changes, so what exists is right.
        f"CREATE TRIGGER IF NOT EXISTS {name(table, verb)} BEFORE {verb} ON {table} "
        f"{_unless_moved(model) if verb == 'UPDATE' else ''} "
        f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        for verb in _VERBS
    ]


def _unless_moved(model: type[AppendOnly]) -> str:
    if not moves(model):
        return ""
    # Column by column, and not UPDATE OF: that asks what a statement names, this what it changes.
    others = [str(field.column) for field in model._meta.concrete_fields if field.name != "patient"]
    same = " AND ".join(f'OLD."{column}" IS NEW."{column}"' for column in others)
    return f"WHEN NOT ({same} AND {_written_in_the_ledger(model._meta.db_table)})"


def _postgres(model: type[AppendOnly]) -> list[str]:
    table = model._meta.db_table
    function = (
        "CREATE OR REPLACE FUNCTION quarterday_append_only() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME; END $$"
    )
    refused = "quarterday_append_only"
    guards = dict.fromkeys(_VERBS, refused)
    more = []
    if moves(model):
        guards["UPDATE"] = f"{table}_only_moved"
        more = [
            f"CREATE OR REPLACE FUNCTION {table}_only_moved() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN IF to_jsonb(NEW) - 'patient_id' = to_jsonb(OLD) - 'patient_id' "
            f"AND {_written_in_the_ledger(table)} THEN RETURN NEW; END IF; "
            f"RAISE EXCEPTION '{table} is append-only'; END $$"
        ]
    triggers = [
        f"CREATE OR REPLACE TRIGGER {name(table, verb)} BEFORE {verb} ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION {guard}()"
        for verb, guard in guards.items()
    ]
    # TRUNCATE fires no row trigger, and would empty the trail in one statement.
    truncate = (
        f"CREATE OR REPLACE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {refused}()"
    )
    return [function, *more, *triggers, truncate]
