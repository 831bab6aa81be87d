from django.apps import AppConfig


class LesionsConfig(AppConfig):
    name = "lesions"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from lesions import panels, tasks  # noqa: F401
