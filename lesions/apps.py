from django.apps import AppConfig


class LesionsConfig(AppConfig):
    name = "lesions"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Inside, because these modules import models, and only when `ready()` runs are the models of all apps loaded.
        from clinic import policies  # noqa: PLC0415  needs loaded models
        from clinic.duties import ledger, proposals, steps  # noqa: PLC0415  needs loaded models
        from clinic.merging import merging, unmerging  # noqa: PLC0415  needs loaded models
        from clinic.models import PolicyKind  # noqa: PLC0415  needs loaded models
        from clinic.people import ending, visits  # noqa: PLC0415  needs loaded models
        from clinic.trail import audit, details, triggers  # noqa: PLC0415  needs loaded models
        from lesions import panels, tasks, trail_entries  # noqa: PLC0415, F401  they register themselves
        from lesions.limits import wording as limit_words  # noqa: PLC0415  needs loaded models
        from lesions.register import endings, examinations, merged, unmatched  # noqa: PLC0415  needs loaded models
        from lesions.results import in_error, results_followed  # noqa: PLC0415  needs loaded models
        from lesions.review import care_end, putting_right  # noqa: PLC0415  needs loaded models

        audit.register_actions(trail_entries.ACTIONS)
        details.register_codes(trail_entries.CODES)
        triggers.register_append_only(*trail_entries.APPEND_ONLY)
        policies.register_checker(PolicyKind.FLAGS, limit_words.faults_of)
        proposals.register_proposable(endings.ACT, endings.CHANGE)
        ledger.UNDO["lesions.picturemove"] = putting_right.bring_back
        proposals.register_proposable(in_error.ACT, in_error.IN_ERROR)
        ending.register_keeper("lesions", care_end.KEEPER)
        merging.ROOM.append(merged.tell_labels_apart)
        unmerging.GOES_ALONG.append(merged.goes_along)
        visits.follow("lesion_examination", done=examinations.of_visit, struck=examinations.strike)
        steps.register_hooks("match_report", settled=unmatched.settled, struck=unmatched.struck)
        for kind, (settled, struck) in results_followed.HOOKS.items():
            steps.register_hooks(kind, settled=settled, struck=struck)
