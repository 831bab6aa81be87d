from typing import Any

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

NOTHING_SAVED = gettext_lazy("Nothing of yours was saved.")


class Stated(models.Model):
    """A row with a state: an update names the `revision` it saw; `changed_at` is when the change was recorded."""

    revision = models.PositiveIntegerField(default=1)
    changed_at = models.DateTimeField(default=timezone.now)

    class Meta:
        abstract = True


class AppendOnly(models.Model):
    """A table whose rows are only added, never changed or deleted: triggers refuse it (`clinic/trail/triggers.py`)."""

    class Meta:
        abstract = True


class StaleRow(Exception):
    """Raised where somebody else changed the row after it was shown; the caller shows what stands now."""

    def __init__(self, row: models.Model) -> None:
        super().__init__(f"{row._meta.label_lower}:{row.pk} was changed by somebody else")
        self.row = row

    def say(self) -> str:
        """What a page says of it."""
        words = {"name": self.row._meta.verbose_name, "number": self.row.pk}
        said = _("The %(name)s %(number)s was changed by somebody else while this page was open.") % words
        return f"{said} {NOTHING_SAVED}"


def change(row: "Stated", *, seen: int, at: Any, where: dict[str, Any] | None = None, **fields: Any) -> None:
    """Change a row only if it still has the revision that was `seen`; of two who try at once one gets StaleRow."""
    # One statement asks and writes: between a check and a write somebody else could come.
    found = type(row)._default_manager.filter(pk=row.pk, revision=seen, **(where or {}))
    if not found.update(**fields, revision=seen + 1, changed_at=at):
        row.refresh_from_db()
        raise StaleRow(row)
    row.refresh_from_db()
