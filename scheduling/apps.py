from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    name = "scheduling"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from scheduling import panels, receivers, tasks  # noqa: F401
