from django.apps import AppConfig


class LesionsConfig(AppConfig):
    name = "lesions"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # What registers itself is loaded when the app is ready.
        from lesions import panels, tasks  # noqa: PLC0415, F401
