from django.apps import AppConfig


class LesionsConfig(AppConfig):
    name = "lesions"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from clinic.trail import audit, triggers  # noqa: PLC0415  needs loaded models
        from lesions import panels, tasks, trail_entries  # noqa: PLC0415, F401  need loaded models, register themselves

        audit.register_actions(trail_entries.ACTIONS)
        triggers.register_append_only(*trail_entries.APPEND_ONLY)
