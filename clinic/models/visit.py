from django.db import models
from django.utils.translation import gettext_lazy as _

from clinic.models.base import Stated


class Purpose(models.TextChoices):
    """What a visit can be for, in the words of FACTS."""

    FULL_SKIN_CHECK = "full_skin_check", _("full skin check")
    LESION_IMAGE = "lesion_image", _("picture of a lesion")
    LESION_EXAMINATION = "lesion_examination", _("examination of a lesion in person")
    REST_OF_SKIN_CHECK = "rest_of_skin_check", _("rest of the skin check")
    RESULT_VISIT = "result_visit", _("visit for a result")
    WOUND_CHECK = "wound_check", _("wound check")
    SUTURE_REMOVAL = "suture_removal", _("removal of sutures")
    RISK_ASSESSMENT = "risk_assessment", _("risk assessment")
    NODE_EXAMINATION = "node_examination", _("lymph node examination")
    NODE_ULTRASOUND = "node_ultrasound", _("ultrasound of the lymph nodes")
    SECTIONAL_IMAGING = "sectional_imaging", _("sectional imaging")
    LABORATORY = "laboratory", _("laboratory test")


# What each is about: the planning core completes a duty only by an item that names the same subject.
ABOUT = {
    Purpose.FULL_SKIN_CHECK: "patient",
    Purpose.RISK_ASSESSMENT: "patient",
    Purpose.REST_OF_SKIN_CHECK: "patient",
    Purpose.LESION_IMAGE: "lesion",
    Purpose.LESION_EXAMINATION: "lesion",
    Purpose.RESULT_VISIT: "procedure",
    Purpose.WOUND_CHECK: "procedure",
    Purpose.SUTURE_REMOVAL: "procedure",
    Purpose.NODE_EXAMINATION: "diagnosis",
    Purpose.NODE_ULTRASOUND: "diagnosis",
    Purpose.SECTIONAL_IMAGING: "diagnosis",
    Purpose.LABORATORY: "diagnosis",
}
# A dermatologist may set a day for what was cut or found elsewhere: it stands under the patient.
NOT_ALWAYS_ON_RECORD = ("procedure", "diagnosis")
# A concern about no lesion that is on record is examined under the patient.
ALSO_ABOUT_THE_PATIENT = (Purpose.LESION_EXAMINATION,)


def is_about(purpose: str, subject: str) -> bool:
    """Say whether this purpose can be about this subject: a wound check is of procedure:7, never of lesion:7."""
    kind = ABOUT[Purpose(purpose)]
    under_patient = kind in NOT_ALWAYS_ON_RECORD or purpose in ALSO_ABOUT_THE_PATIENT
    return subject.partition(":")[0] == kind or (subject == "patient" and under_patient)


class Visit(Stated):
    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="visits")
    attended_on = models.DateField()
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT)
    note = models.TextField(blank=True)
    # Never deleted: a record of care that vanishes is worse than one that was wrong and says so.
    struck_at = models.DateTimeField(null=True, blank=True, help_text="taken back: it stays readable")
    struck_by = models.ForeignKey(
        "clinic.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-attended_on", "-pk"]
        verbose_name = _("visit")

    def __str__(self) -> str:
        return f"visit on {self.attended_on}"


class DoneItem(models.Model):
    """One thing that was done in a visit; only this completes a recall, never the attendance."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="done")
    purpose = models.CharField(max_length=24, choices=Purpose)
    subject = models.CharField(max_length=40, default="patient")
    # What a check left out is still owed (`rest_of_skin_check`), so the regions are kept and not only a yes.
    not_seen = models.JSONField(default=list, help_text="regions that a full skin check left out")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["visit", "purpose", "subject"], name="an_item_is_done_once_in_a_visit"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} ({self.subject})"
