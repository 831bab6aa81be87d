"""Move rows from one patient's record to another and back: each change is written into the ledger of merges first.

Which tables name a patient is asked of the models, so that a new table moves without anybody's thinking of it.
"""

from collections.abc import Callable, Iterator
from datetime import date
from itertools import groupby
from typing import Any, Final

from django.apps import apps
from django.db import models
from django.db.models import F

from clinic.models import (
    AuditRecord,
    LikelyPair,
    Merge,
    MovedRow,
    NamePart,
    Patient,
    ReadRecord,
    Stated,
    insert_all,
)

# Tables that name a patient and stay where they are.
STAYS: Final[list[type[models.Model]]] = [
    AuditRecord,  # says for good about which record it was written
    ReadRecord,
    NamePart,  # follows from the name, which stays
    LikelyPair,  # says which two records were looked at
    Merge,
]


def stay(*tables: type[models.Model]) -> None:
    """Leave the rows of these tables where they are: they are worked out anew from the others."""
    STAYS.extend(tables)


def links() -> Iterator["models.ForeignKey[Any, Any]"]:
    """Find every column that says whose a row is, of each table that moves."""
    for relation in Patient._meta.get_fields(include_hidden=True):
        if relation.auto_created and not relation.concrete and isinstance(relation, models.ForeignObjectRel):
            field = relation.field
            if isinstance(field, models.ForeignKey) and field.model not in STAYS:
                yield field


class Mover:
    """Changes the rows of one merge; what it changed stands in the ledger, and undoing needs nothing else."""

    def __init__(self, merge: Merge) -> None:
        self.merge, self.survivor, self.gone = merge, merge.survivor, merge.gone
        self.left: set[tuple[str, int]] = set()
        self.count = 0

    def leave(self, row: models.Model) -> None:
        """Leave this row with the record that was merged away: the survivor has one that says the same."""
        self.left.add((row._meta.db_table, row.pk))

    def set(self, row: models.Model, **columns: Any) -> None:
        """Change columns of one row, by their attributes (`patient_id`, not `patient`)."""
        model = type(row)
        moved = {name: value for name, value in columns.items() if getattr(row, name) != value}
        if moved:
            before = {name: plain(getattr(row, name)) for name in moved}
            after = {name: plain(value) for name, value in moved.items()}
            write(self.merge, model, [row.pk], before=before, after=after)
            _update(model, [row.pk], moved)
            row.refresh_from_db()
            self.count += 1

    def move_all(self) -> None:
        """Give every row of the record that is merged away to the survivor."""
        for field in links():
            model = field.model
            found = model._base_manager.filter(**{field.attname: self.gone.pk}).order_by("pk")
            keys = [key for key in found.values_list("pk", flat=True) if self._goes(model, key)]
            self.count += len(keys)
            move(self.merge, field, keys, self.gone.pk, self.survivor.pk)

    def _goes(self, model: type[models.Model], key: int) -> bool:
        return (model._meta.db_table, key) not in self.left


def move(
    merge: Merge,
    field: "models.ForeignKey[Any, Any]",
    keys: list[int],
    old: int,
    new: int,
    back: bool = False,
) -> None:
    """Give rows of one table from one patient to another."""
    column = field.attname
    write(merge, field.model, keys, before={column: old}, after={column: new}, back=back)
    _update(field.model, keys, {column: new})


def write(
    merge: Merge,
    model: type[models.Model],
    keys: list[int],
    *,
    before: dict[str, Any],
    after: dict[str, Any],
    back: bool = False,
) -> None:
    """Write into the ledger what is about to be changed: the triggers ask it first."""
    said = {"before": before, "after": after, "back": back, "merge_id": merge.pk}
    whose = {"moved_from": before.get("patient_id"), "moved_to": after.get("patient_id")}
    insert_all(MovedRow, [{"kept_in": model._meta.db_table, "row": key, **said, **whose} for key in keys])


def _update(model: type[models.Model], keys: list[int], values: dict[str, Any]) -> None:
    # A page that shows the row as it was must be refused; when it was changed by hand stays what it was.
    more: dict[str, Any] = {"revision": F("revision") + 1} if issubclass(model, Stated) else {}
    model._base_manager.filter(pk__in=keys).update(**values, **more)


Holds = Callable[[str, list[int]], set[int]]


def move_back(merge: Merge, holds: Holds) -> None:
    """Undo every change of the ledger, the last first, where the row still says what the merge wrote.

    `holds` names the rows of a table that stay with the survivor because of what happened since.
    """
    tables = {model._meta.db_table: model for model in apps.get_models(include_auto_created=True)}
    rows = merge.moved.filter(back=False).order_by("-pk")
    for (table, before, after), group in groupby(rows, lambda row: (row.kept_in, row.before, row.after)):
        model, keys = tables[table], [row.row for row in group]
        held = holds(table, keys)
        unchanged = [key for key in _still_saying(model, keys, after) if key not in held]
        write(merge, model, unchanged, before=after, after=before, back=True)
        _update(model, unchanged, _read(model, before))


def _still_saying(model: type[models.Model], keys: list[int], values: dict[str, Any]) -> list[int]:
    rows = model._base_manager.filter(pk__in=keys).values("pk", *values)
    return [row["pk"] for row in rows if {name: plain(row[name]) for name in values} == values]


def plain(value: Any) -> Any:
    """Give a value as the ledger keeps it; Django's own encoder would drop the last figures of a moment."""
    return value.isoformat() if isinstance(value, date) else value


def _read(model: type[models.Model], values: dict[str, Any]) -> dict[str, Any]:
    fields = {field.attname: field for field in model._meta.concrete_fields}
    return {name: fields[name].to_python(value) for name, value in values.items()}


def give_back(merge: Merge, model: type[models.Model], keys: list[int]) -> None:
    """Give rows back that were recorded since the merge and are about what goes back."""
    field = model._meta.get_field("patient")
    assert isinstance(field, models.ForeignKey)
    move(merge, field, keys, merge.survivor_id, merge.gone_id, back=True)
