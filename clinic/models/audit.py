from django.db import models

from clinic.models.base import AppendOnly


class AuditRecord(AppendOnly):
    """Append-only by database triggers (clinic/trail/triggers.py); written in the transaction of the change."""

    at = models.DateTimeField()
    by = models.ForeignKey("clinic.Member", null=True, on_delete=models.PROTECT)
    action = models.CharField(max_length=40)
    patient = models.ForeignKey(
        "clinic.Patient", null=True, on_delete=models.PROTECT, related_name="audit_records"
    )
    subject = models.CharField(max_length=60, help_text="model label and key, e.g. lesions.lesion:12")
    # Which change of this patient's facts it was; empty where it changed none.
    facts_revision = models.PositiveIntegerField(null=True)
    # Codes and values, never a sentence: after a change of wording or of language it still says the same.
    details = models.JSONField(default=dict)

    class Meta:
        ordering = ["-pk"]
        indexes = [
            models.Index(fields=["patient", "-id"]),
            models.Index(fields=["subject", "-id"]),
            models.Index(fields=["by", "-id"]),
        ]

    def __str__(self) -> str:
        return f"{self.action} {self.subject}"


class ReadRecord(AppendOnly):
    """Who opened which patient's page; a table of its own because reads far outnumber changes."""

    at = models.DateTimeField()
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT)
    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="reads")
    page = models.CharField(max_length=60)

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["patient", "-id"]), models.Index(fields=["by", "-id"])]

    def __str__(self) -> str:
        return f"{self.by_id} read {self.patient_id}"
