from django.core.serializers.json import DjangoJSONEncoder
from django.db import models


class PreviewRun(models.Model):
    """What a rule set would do, worked out in the background; a row without `made_at` is the job."""

    policy = models.OneToOneField("clinic.Policy", on_delete=models.CASCADE, related_name="preview_run")
    asked_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True)
    made_at = models.DateTimeField(null=True)
    basis = models.CharField(max_length=64, blank=True, help_text="digest of all that the result rests on")
    result = models.JSONField(default=dict, encoder=DjangoJSONEncoder)

    def __str__(self) -> str:
        return f"preview of {self.policy}"
