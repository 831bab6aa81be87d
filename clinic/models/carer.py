from datetime import date

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import Stated


class Authority(models.TextChoices):
    """What may be said to somebody who looks after a patient."""

    EVERYTHING = "everything", _("everything")
    APPOINTMENTS = "appointments", _("appointments only")
    NOTHING = "nothing", _("nothing")


class Carers(models.QuerySet["Carer"]):
    def holding(self, day: date) -> "Carers":
        """Keep those whose days a day lies in."""
        ends = Q(valid_until__isnull=True) | Q(valid_until__gte=day)
        return self.filter(ends, valid_from__lte=day)


class Carer(Stated):
    """Somebody who looks after a patient: who it is, what may be said, and from when until when.

    Of a minor it ends the day before the patient comes of age. Never deleted: it was true for its days.
    """

    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="carers")
    name = models.CharField(_("name"), max_length=120)
    relation = models.CharField(
        _("relation"), max_length=60, help_text=_("Mother, father, guardian, daughter …")
    )
    authority = models.CharField(_("what may be said"), max_length=12, choices=Authority)
    valid_from = models.DateField(_("from"))
    valid_until = models.DateField(_("until"), null=True, blank=True)
    # Its end moves with a corrected day of birth.
    of_minor = models.BooleanField(default=False)

    objects = Carers.as_manager()

    class Meta:
        ordering = ["valid_from", "pk"]
        verbose_name = _("carer")
        indexes = [models.Index(fields=["valid_until"], name="carers_by_their_end")]
        constraints = [
            models.CheckConstraint(
                condition=Q(valid_until__isnull=True) | Q(valid_until__gte=F("valid_from")),
                name="a_carer_ends_after_the_beginning",
            ),
            models.CheckConstraint(
                condition=Q(authority__in=Authority.values), name="a_carer_has_a_known_authority"
            ),
            models.CheckConstraint(
                condition=Q(of_minor=False) | Q(valid_until__isnull=False),
                name="a_carer_of_a_minor_has_an_end",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def holds_on(self, day: date) -> bool:
        """Say whether anything may be said to them on a day."""
        ended = self.valid_until is not None and self.valid_until < day
        return self.valid_from <= day and not ended and self.authority != Authority.NOTHING

    def may_be_told_on(self, day: date) -> bool:
        """Say whether they may be told everything on a day, and so a result; not who hears of appointments alone."""
        return self.holds_on(day) and self.authority == Authority.EVERYTHING
