from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    name = "scheduling"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Inside, because these modules import models, and only when `ready()` runs are the models of all apps loaded.
        from clinic import policies  # noqa: PLC0415  needs loaded models
        from clinic.duties import proposals, steps  # noqa: PLC0415  needs loaded models
        from clinic.merging import merging, moving, unmerging  # noqa: PLC0415  needs loaded models
        from clinic.models import PolicyKind  # noqa: PLC0415  needs loaded models
        from clinic.people import ending, leave, longer_waits, visits  # noqa: PLC0415  needs loaded models
        from clinic.trail import audit, details, triggers  # noqa: PLC0415  needs loaded models
        from lesions.looking import foresight  # noqa: PLC0415  needs loaded models
        from lesions.results import in_error  # noqa: PLC0415  needs loaded models
        from lesions.review import taking_back  # noqa: PLC0415  needs loaded models
        from scheduling import panels, receivers, tasks, trail_entries  # noqa: PLC0415, F401  they register themselves
        from scheduling.desk import care_end, unfiled  # noqa: PLC0415  needs loaded models
        from scheduling.models import Claim, DeskLine, Plan, Touched  # noqa: PLC0415  needs loaded models
        from scheduling.planning import foreseen, ladder, rebook, rules_in_force  # noqa: PLC0415  needs loaded models
        from scheduling.recalls import closing, merged, taken_back  # noqa: PLC0415  needs loaded models
        from scheduling.recalls.longer_waits import look  # noqa: PLC0415  needs loaded models

        audit.register_actions(trail_entries.ACTIONS)
        details.register_codes(trail_entries.CODES)
        triggers.register_append_only(*trail_entries.APPEND_ONLY)
        steps.register_hooks("file_call", settled=unfiled.settled, struck=unfiled.struck)
        longer_waits.add_look("plan", look)
        visits.BEFORE_TAKE_BACK.append(taken_back.reopen_completed)
        taking_back.BEFORE.append(taken_back.reopen_decided)
        in_error.BEFORE.append(taken_back.reopen_done_by)
        foresight.register_seer(foreseen.foresee)
        ending.register_keeper("scheduling", care_end.KEEPER)
        moving.stay(Claim, DeskLine, Plan, Touched)
        merging.BARS.append(merged.bars)
        merging.ROOM.append(merged.make_room)
        merging.DAYS.append(merged.look_at_both)
        unmerging.HOLDS.append(merged.holds)
        unmerging.GOES_ALONG.append(merged.goes_along)
        unmerging.DAYS.append(merged.look_at_parting)
        leave.register_watchers(noted=rebook.rebook_of_leave, withdrawn=rebook.there_after_all)
        proposals.register_proposable(closing.ACT, closing.CLOSE)
        policies.register_checker(PolicyKind.RULES, rules_in_force.check)
        policies.register_checker(PolicyKind.LADDER, ladder.check)
