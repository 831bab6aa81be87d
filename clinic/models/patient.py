from datetime import date

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import AppendOnly, Stated
from clinic.models.carer import Authority, Carer
from clinic.models.lookups import BY_BEGINNING


class PatientStatus(models.TextChoices):
    ACTIVE = "active", _("in the clinic's care")
    ENDING = "ending", _("care is ending")
    DECEASED = "deceased", _("deceased")
    TRANSFERRED = "transferred", _("transferred, accepted elsewhere")
    MOVED = "moved", _("moved away")
    DISCHARGED = "discharged", _("discharged by a clinician")


class Sex(models.TextChoices):
    """Administrative sex, in the words of HL7 FHIR AdministrativeGender; empty: nobody asked."""

    FEMALE = "female", _("female")
    MALE = "male", _("male")
    OTHER = "other", _("other")
    UNKNOWN = "unknown", _("not known")


_NOT_MERGED = Q(merged_into__isnull=True)


class Patient(Stated):
    """A patient's record. `facts_revision` rises with every audited change of facts; it is also the patient's lock."""

    number = models.CharField(max_length=12, unique=True, editable=False)
    given_name = models.CharField(_("given name"), max_length=80, blank=True)
    family_name = models.CharField(_("family name"), max_length=80)
    born = models.DateField(_("date of birth"))
    sex = models.CharField(
        _("sex, as in the papers"),
        max_length=8,
        choices=Sex,
        blank=True,
        help_text=_("Never guessed from a name."),
    )
    address_hint = models.CharField(_("town or postcode"), max_length=80, blank=True)
    interpreter = models.CharField(
        _("interpreter needed"), max_length=40, blank=True, help_text=_("Language, if one is needed.")
    )
    access_needs = models.CharField(
        _("hearing, sight, mobility"),
        max_length=120,
        blank=True,
        help_text=_("What the visit must allow for."),
    )
    best_times = models.CharField(_("best times to ring"), max_length=80, blank=True)
    practitioner = models.CharField(
        _("general practitioner"), max_length=240, blank=True, help_text=_("Name, and how to reach them.")
    )
    referrer = models.CharField(
        _("who referred the patient"), max_length=240, blank=True, help_text=_("Name, and how to reach them.")
    )
    status = models.CharField(max_length=12, choices=PatientStatus, default=PatientStatus.ACTIVE)
    status_on = models.DateField(null=True, blank=True)
    status_ground = models.CharField(max_length=200, blank=True)
    ending_as = models.CharField(
        max_length=12,
        choices=PatientStatus,
        blank=True,
        help_text="while care is ending: how it ends once everything is handed over",
    )
    # Before that day silence proves nothing: the patient may have been seen elsewhere.
    records_since = models.DateField(
        null=True, blank=True, help_text=_("Start of this clinic's records, if history was imported.")
    )
    # Almost every record is merged into none: an index over all would lead SQLite to read everybody by it.
    merged_into = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="merged_from", db_index=False
    )
    facts_revision = models.PositiveIntegerField(default=0)
    # For comparing only (`clinic/formats/folding.py`); written with the name by `clinic/people/patients.py`.
    folded_given = models.CharField(max_length=80, blank=True, editable=False)
    folded_family = models.CharField(max_length=80, blank=True, editable=False)

    class Meta:
        verbose_name = _("patient")
        ordering = ["family_name", "given_name", "born", "pk"]
        indexes = [
            models.Index(
                fields=["family_name", "given_name", "born", "id"],
                condition=_NOT_MERGED,
                name="patients_in_order",
            ),
            models.Index(fields=["merged_into"], condition=~_NOT_MERGED, name="merged_patients"),
            models.Index(fields=["folded_family", "folded_given"], name="patients_of_a_name"),
            models.Index(fields=["born"], name="patients_by_birth"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(status__in=PatientStatus.values), name="a_patient_has_a_known_status"
            ),
            models.CheckConstraint(
                condition=Q(sex__in=["", *Sex.values]), name="a_patients_sex_is_of_the_list_or_not_asked"
            ),
            models.CheckConstraint(
                condition=Q(status="active") | (Q(status_on__isnull=False) & ~Q(status_ground="")),
                name="an_ended_patient_has_a_day_and_a_ground",
            ),
            models.CheckConstraint(
                condition=Q(status="ending") & ~Q(ending_as="") | ~Q(status="ending") & Q(ending_as=""),
                name="a_care_that_ends_says_how",
            ),
        ]

    def __str__(self) -> str:
        return self.in_full(self.given_name, self.family_name)

    @staticmethod
    def in_full(given_name: str, family_name: str) -> str:
        """Write a name, also where a list has read no more of a record."""
        return f"{given_name} {family_name}".strip()

    @property
    def died_on(self) -> date | None:
        """Give the day of death, also while what is owed after it is still being handed over."""
        return self.status_on if PatientStatus.DECEASED in (self.status, self.ending_as) else None

    def age_on(self, day: date) -> int:
        """Work out the age in whole years on a day."""
        return day.year - self.born.year - ((day.month, day.day) < (self.born.month, self.born.day))


class NamePart(models.Model):
    """A patient's name from the beginning of one of its words, folded: what the search compares with what was typed."""

    # May go with its patient, as hardly any row may: it says nothing that the name does not say.
    patient = models.ForeignKey(Patient, on_delete=models.CASCADE, related_name="name_parts")
    part = models.CharField(max_length=80)

    class Meta:
        indexes = [
            models.Index(fields=["part", "patient"], opclasses=BY_BEGINNING, name="name_parts_by_beginning")
        ]

    def __str__(self) -> str:
        return self.part


class PhotoConsent(AppendOnly):
    """What a patient answered to photographs for care, on a day; the latest answer counts, none is no answer."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="photo_consents")
    given = models.BooleanField()
    on = models.DateField()
    words = models.CharField(max_length=160, blank=True)
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-on", "-pk"]

    def __str__(self) -> str:
        return f"{self.given}, {self.on}"


class CareEnd(AppendOnly):
    """One end of a patient's care: evidence of what it closed, so that resuming opens that again."""

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="care_ends")
    ends_as = models.CharField(max_length=12, choices=PatientStatus)
    on = models.DateField()
    ground = models.CharField(max_length=200)
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    second = models.ForeignKey("clinic.Member", null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return f"{self.get_ends_as_display()}, {self.on}"


class RouteKind(models.TextChoices):
    PHONE = "phone", _("telephone")
    EMAIL = "email", _("e-mail")
    POST = "post", _("letter")


class Voicemail(models.TextChoices):
    """What may be left on an answering machine; nobody was asked yet: nothing is."""

    NO = "no", _("no voicemail")
    NAME_ONLY = "name", _("voicemail: only to ring back")
    YES = "yes", _("voicemail allowed, no details")


class Routes(models.QuerySet["ContactRoute"]):
    def working(self, day: date) -> "Routes":
        """Keep those by which the patient can be reached on a day: not dead, nobody's who may be told nothing."""
        ends = Q(carer__valid_until__isnull=True) | Q(carer__valid_until__gte=day)
        theirs = ends & Q(carer__valid_from__lte=day) & ~Q(carer__authority=Authority.NOTHING)
        return self.filter(Q(carer__isnull=True) | theirs, dead_since__isnull=True)


class ContactRoute(Stated):
    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="routes")
    kind = models.CharField(_("kind"), max_length=8, choices=RouteKind)
    value = models.CharField(_("number or address"), max_length=200)
    order = models.PositiveSmallIntegerField(_("order"), default=1, help_text=_("1 is tried first."))
    voicemail = models.CharField(_("voicemail"), max_length=8, choices=Voicemail, blank=True, default="")
    # Kept when it is dead: the same wrong number would be typed in again from an old letter.
    dead_since = models.DateField(null=True, blank=True)
    # A number of somebody else works as long as that person may be spoken to.
    carer = models.ForeignKey(
        Carer,
        verbose_name=_("whose it is"),
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="routes",
    )
    phone_key = models.CharField(max_length=200, blank=True, editable=False)

    objects = Routes.as_manager()

    class Meta:
        ordering = ["order", "pk"]
        verbose_name = _("contact route")
        indexes = [
            models.Index(fields=["phone_key", "patient"], opclasses=BY_BEGINNING, name="routes_by_phone_key")
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["patient", "kind", "value"], name="a_contact_route_is_listed_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.value}"

    def works_on(self, day: date) -> bool:
        """The same as `Routes.working`, of one row that was read with its carer."""
        return self.dead_since is None and (self.carer is None or self.carer.holds_on(day))
