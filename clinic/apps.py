from django.apps import AppConfig
from django.db.models.signals import post_migrate


class ClinicConfig(AppConfig):
    name = "clinic"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Models are loaded only when the app is ready.
        from clinic.trail import triggers  # noqa: PLC0415

        post_migrate.connect(triggers.recreate, dispatch_uid="append-only triggers")
