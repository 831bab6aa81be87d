from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import Q
from django.utils import dateformat
from django.utils.translation import gettext_lazy as _

from clinic.models.base import AppendOnly, Stated


class Standing(models.Manager[Any]):
    """What nobody has struck through."""

    def get_queryset(self) -> models.QuerySet[Any]:
        return super().get_queryset().filter(struck_at__isnull=True)


class ProcedureKind(models.TextChoices):
    BIOPSY = "biopsy", _("biopsy")
    EXCISION = "excision", _("excision")
    OTHER = "other", _("other")


class Recorded(Stated):
    """Struck through where it was recorded in error: then it stays readable under `everything` and counts nowhere."""

    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey(
        "clinic.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    # The plain manager leaves out what was struck: a question that forgot to ask is then right, not dangerous.
    objects = Standing()
    everything = models.Manager()

    class Meta:
        abstract = True


class Procedure(Recorded):
    """A biopsy, an excision or another procedure; the first two wait for a result until a diagnosis is recorded."""

    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="procedures")
    lesion = models.ForeignKey(
        "lesions.Lesion", null=True, blank=True, on_delete=models.PROTECT, related_name="procedures"
    )
    kind = models.CharField(max_length=10, choices=ProcedureKind)
    on = models.DateField("done on")
    site = models.CharField(max_length=16, blank=True)
    # Three answers, and not stated counts as yes after an excision: a thread that nobody removes does harm.
    sutures = models.BooleanField(
        "sutures to remove",
        null=True,
        blank=True,
        help_text="empty: not stated; an excision then counts as yes",
    )
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    note = models.TextField(blank=True)
    before = models.JSONField(
        default=dict, help_text="what stood on the lesion, and what it left: it stands again if this goes"
    )

    class Meta:
        verbose_name = _("procedure")
        ordering = ["-on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=ProcedureKind.values), name="a_procedure_is_of_a_known_kind"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} on {dateformat.format(self.on, 'j M Y')}"


class DiagnosisCode(models.TextChoices):
    MELANOMA = "melanoma", _("melanoma, invasive")
    MELANOMA_IN_SITU = "melanoma_in_situ", _("melanoma in situ")
    SCC = "scc", _("squamous cell carcinoma")
    SCC_IN_SITU = "scc_in_situ", _("squamous cell carcinoma in situ")
    BCC = "bcc", _("basal cell carcinoma")
    DYSPLASTIC_NAEVUS = "dysplastic_naevus", _("dysplastic naevus")
    OTHER_MALIGNANT = "other_malignant", _("other malignant tumour")
    BENIGN = "benign", _("benign, as reported by the laboratory")


MALIGNANT = ("melanoma", "melanoma_in_situ", "scc", "scc_in_situ", "bcc", "other_malignant")


class StageBasis(models.TextChoices):
    CLINICAL = "clinical", _("clinical")
    PATHOLOGICAL = "pathological", _("pathological")


class Grade(models.TextChoices):
    MILD = "mild", _("mild")
    MODERATE = "moderate", _("moderate")
    SEVERE = "severe", _("severe")


class Sentinel(models.TextChoices):
    NEGATIVE = "negative", _("negative")
    POSITIVE = "positive", _("positive")
    NOT_DONE = "not_done", _("not done")


class Subtype(models.TextChoices):
    """Of a melanoma, in the names of the WHO classification; empty: not stated."""

    SUPERFICIAL_SPREADING = "superficial_spreading", _("superficial spreading")
    NODULAR = "nodular", _("nodular")
    LENTIGO_MALIGNA = "lentigo_maligna", _("lentigo maligna")
    ACRAL_LENTIGINOUS = "acral_lentiginous", _("acral lentiginous")
    DESMOPLASTIC = "desmoplastic", _("desmoplastic")
    OTHER = "other", _("another, as in the text")


class Margin(models.TextChoices):
    CLEAR = "clear", _("clear")
    INVOLVED = "involved", _("involved")


class Diagnosis(Recorded):
    """What a report says. The anchor is the day of definitive excision, from which follow-up counts.

    `thickness` is the millimetres as typed ("0.80" or ">=0.8"). Null ulceration means unknown.
    """

    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="diagnoses")
    lesion = models.ForeignKey(
        "lesions.Lesion", null=True, blank=True, on_delete=models.PROTECT, related_name="diagnoses"
    )
    procedure = models.ForeignKey(
        Procedure, null=True, blank=True, on_delete=models.PROTECT, related_name="diagnoses"
    )
    code = models.CharField(max_length=20, choices=DiagnosisCode)
    reported_on = models.DateField()
    report_number = models.CharField("number of the report", max_length=60, blank=True)
    # Whole, as the laboratory wrote it: what no field asks for is often what matters later.
    report_text = models.TextField("text of the report", blank=True)
    anchor = models.DateField("definitive excision", null=True, blank=True)
    # As typed: a stage depends on whether 0.8 or 0.80 was measured, and a float forgets it.
    thickness = models.CharField("thickness in mm, as reported", max_length=10, blank=True)
    ulceration = models.BooleanField(null=True, blank=True)
    subtype = models.CharField("subtype", max_length=24, choices=Subtype, blank=True)
    mitoses = models.CharField("mitoses per mm²", max_length=8, blank=True)
    margin_peripheral = models.CharField("peripheral margin", max_length=8, choices=Margin, blank=True)
    margin_peripheral_mm = models.CharField("peripheral margin, distance in mm", max_length=8, blank=True)
    margin_deep = models.CharField("deep margin", max_length=8, choices=Margin, blank=True)
    margin_deep_mm = models.CharField("deep margin, distance in mm", max_length=8, blank=True)
    n = models.CharField("N", max_length=4, blank=True)
    m = models.CharField("M", max_length=4, blank=True)
    stage = models.CharField("stage (AJCC 8)", max_length=5, blank=True)
    stage_basis = models.CharField(max_length=12, choices=StageBasis, blank=True)
    grade = models.CharField("grade", max_length=8, choices=Grade, blank=True)
    sentinel = models.CharField("sentinel node", max_length=8, choices=Sentinel, blank=True)
    deposit_mm = models.CharField("largest deposit in mm", max_length=8, blank=True)
    nodes_cleared = models.BooleanField("lymph nodes cleared", null=True, blank=True)
    risk_scheme = models.CharField(max_length=20, blank=True)
    risk_class = models.CharField(max_length=20, blank=True)
    uncertain = models.BooleanField(
        "the report leaves open whether it is malignant",
        default=False,
        help_text="told as soon as a malignant one",
    )
    # Told apart from empty: empty is still asked for, this is answered.
    not_known = models.JSONField(
        "will not be known",
        default=list,
        blank=True,
        help_text="names of fields that nobody is asked for any more",
    )
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    # Beside the duty's own entry, because plans count from this day and ask no duty.
    told_on = models.DateField("patient told on", null=True, blank=True)
    told_by = models.ForeignKey(
        "clinic.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        verbose_name = _("diagnosis")
        ordering = ["-reported_on", "-pk"]
        verbose_name_plural = "diagnoses"
        constraints = [
            models.CheckConstraint(
                condition=Q(code__in=DiagnosisCode.values), name="a_diagnosis_has_a_known_code"
            ),
            models.CheckConstraint(
                condition=Q(margin_peripheral_mm="") | Q(margin_peripheral="clear"),
                name="only_a_clear_peripheral_margin_has_a_distance",
            ),
            models.CheckConstraint(
                condition=Q(margin_deep_mm="") | Q(margin_deep="clear"),
                name="only_a_clear_deep_margin_has_a_distance",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_code_display()}, reported {self.reported_on}"


class UnmatchedReport(AppendOnly):
    """A report that fits no patient, site or specimen: what stands on it, and the name as the laboratory wrote it."""

    laboratory = models.CharField(max_length=120)
    reference = models.CharField("number of the report", max_length=60, blank=True)
    name = models.CharField("name and date of birth on it", max_length=160, blank=True)
    words = models.TextField("what it says")
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"report of {self.laboratory} {self.reference}".strip()


class DiagnosisVersion(AppendOnly):
    """What a diagnosis said from this moment on; the first is as it was recorded, the last is what stands."""

    diagnosis = models.ForeignKey(Diagnosis, on_delete=models.PROTECT, related_name="versions")
    values = models.JSONField(encoder=DjangoJSONEncoder, help_text="every field that can be amended")
    corrected = models.BooleanField(default=False, help_text="another report, which is read and told anew")
    report_of = models.ForeignKey(
        Procedure,
        null=True,
        on_delete=models.PROTECT,
        related_name="reported_with",
        help_text="further tissue that this version reports, such as that of a wider excision",
    )
    why = models.TextField(blank=True)
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"version {self.pk} of diagnosis {self.diagnosis_id}"
