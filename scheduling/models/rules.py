from django.db import models


class Plan(models.Model):
    """The plan of one patient as the engine made it; out of date when facts revision, policy or `valid_until` is.

    `result` is the plan object of the planning core (docs/interfaces.md); `facts` what it was given.
    """

    patient = models.OneToOneField("clinic.Patient", on_delete=models.PROTECT, related_name="plan")
    facts_revision = models.PositiveIntegerField()
    policy = models.ForeignKey("clinic.Policy", on_delete=models.PROTECT, related_name="+")
    valid_until = models.DateField()
    made_at = models.DateTimeField()
    # As they were given: why the plan says this can be worked out again, years and versions later.
    facts = models.JSONField()
    result = models.JSONField()

    class Meta:
        indexes = [models.Index(fields=["valid_until"])]

    def __str__(self) -> str:
        return f"plan of patient {self.patient_id}"


class PlanProblem(models.Model):
    """A problem of a plan: no answer is an answer, so it stands on a person's list until the facts change."""

    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="plan_problems")
    code = models.CharField(max_length=40)
    subject = models.CharField(max_length=40)
    params = models.JSONField(default=dict)
    also = models.JSONField(
        default=list, help_text="parameters of further questions of this code and subject"
    )
    since = models.DateField()
    # Never deleted: how long a question waited for a person is a figure that a clinic should see.
    gone_on = models.DateField(null=True)

    class Meta:
        ordering = ["since", "pk"]
        indexes = [
            models.Index(
                fields=["since", "id"],
                condition=models.Q(gone_on__isnull=True),
                name="open_problems_in_order",
            )
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["patient", "code", "subject"],
                condition=models.Q(gone_on__isnull=True),
                name="an_open_problem_is_listed_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} of {self.subject}"
