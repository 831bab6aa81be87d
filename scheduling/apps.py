from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    name = "scheduling"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # What registers itself is loaded when the app is ready.
        from scheduling import panels, receivers, tasks  # noqa: PLC0415, F401
