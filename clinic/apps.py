from django.apps import AppConfig
from django.core.checks import register
from django.db.models.signals import post_migrate


class ClinicConfig(AppConfig):
    name = "clinic"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Inside, because these modules import models, and only when `ready()` runs are the models of all apps loaded.
        from clinic import policies, tasks  # noqa: PLC0415, F401  needs loaded models; the tasks register themselves
        from clinic.checks import check_registries  # noqa: PLC0415  needs loaded models
        from clinic.duties import limits, proposals, steps  # noqa: PLC0415  needs loaded models
        from clinic.duties.kinds import KINDS  # noqa: PLC0415  needs loaded models
        from clinic.merging import merging, unmerging  # noqa: PLC0415  needs loaded models
        from clinic.models import PolicyKind  # noqa: PLC0415  needs loaded models
        from clinic.people import ending, finding, risk  # noqa: PLC0415  needs loaded models
        from clinic.tally import kept_answers, tally_marks  # noqa: PLC0415  needs loaded models
        from clinic.trail import audit, details, entries, triggers  # noqa: PLC0415  needs loaded models

        audit.register_actions(entries.ACTIONS)
        details.register_codes(entries.CODES)
        details.register_codes({"kind": {code: kind.words for code, kind in KINDS.items()}})
        triggers.register_append_only(*entries.APPEND_ONLY)
        policies.register_checker(PolicyKind.TIERS, risk.faults_of)
        policies.register_checker(PolicyKind.DUTY_LIMITS, limits.check)
        proposals.register_proposable("duty.end", proposals.ENDING)
        proposals.register_proposable(ending.ACT, ending.ENDING)
        proposals.register_proposable(merging.ACT, merging.MERGE)
        proposals.register_proposable(unmerging.ACT, unmerging.UNMERGE)
        kept_answers.ANSWERS |= finding.KEPT
        steps.register_hooks("hand_over", settled=ending.finish, struck=ending.unfinish)
        # Sent for each app, though always for all of them: once is enough, and a test that commits has it sent as well.
        post_migrate.connect(triggers.recreate, sender=self, dispatch_uid="append-only triggers")
        post_migrate.connect(tally_marks.recreate, sender=self, dispatch_uid="marks of the tally")
        register(check_registries)
