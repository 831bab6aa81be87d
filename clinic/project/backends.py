from django.conf import settings
from django.contrib.auth.backends import ModelBackend

from clinic.models import Member


class ClinicBackend(ModelBackend):
    """Check a password as Django does; a log-in of the demo is refused outside the demo."""

    def user_can_authenticate(self, user: Member) -> bool:
        return super().user_can_authenticate(user) and (settings.DEMO or not user.is_demo)
