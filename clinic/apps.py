from django.apps import AppConfig
from django.core.checks import register
from django.db.models.signals import post_migrate


class ClinicConfig(AppConfig):
    name = "clinic"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from clinic.checks import check_registries  # noqa: PLC0415  needs loaded models
        from clinic.trail import audit, entries, triggers  # noqa: PLC0415  needs loaded models

        audit.register_actions(entries.ACTIONS)
        triggers.register_append_only(*entries.APPEND_ONLY)
        post_migrate.connect(triggers.recreate, dispatch_uid="append-only triggers")
        register(check_registries)
