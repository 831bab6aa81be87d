from typing import Any

from django.conf import settings
from django.contrib.auth.backends import ModelBackend


class ClinicBackend(ModelBackend):
    """Check a password as Django does; a log-in of the demo is refused outside the demo."""

    def user_can_authenticate(self, user: Any) -> bool:
        # Asked at each request, so that a demo database served as a clinic signs everybody out at once.
        return bool(super().user_can_authenticate(user) and (settings.DEMO or not user.is_demo))
