"""Keep signs of life: when each process ran last and each kind of work got on; who is silent too long stands still.

A kind of work gives a sign when a piece of it is done, or when somebody looked and nothing waited. So one small
table tells of a dead worker, a dead broker and work that always fails, and no page has to count what waits.
"""

from datetime import datetime, timedelta

from celery import current_app
from django.conf import settings
from django.utils import timezone
from kombu.exceptions import OperationalError

from clinic import clock
from clinic.models import Heartbeat

EVERY = timedelta(minutes=1)
# Two clocks of two machines may differ by a little; a sign dated further ahead is none.
AHEAD = timedelta(minutes=1)
# A part that was never heard since this process came up is given the same time as one that fell silent.
_STARTED = timezone.now()


def beat(*names: str) -> None:
    """Note that these parts are alive; each is written at most once a minute."""
    now = clock.now()
    # Read before writing: a sign comes with every piece of work, and SQLite lets only one process write at a time.
    fresh = Heartbeat.objects.filter(name__in=names, at__gt=now - EVERY, at__lte=now)
    for name in set(names).difference(fresh.values_list("name", flat=True)):
        Heartbeat.objects.update_or_create(name=name, defaults={"at": now})


def parts(kinds: list[str]) -> dict[str, timedelta]:
    """Say how long each part may be silent. "none" is for tests and imports: nothing is expected to run."""
    if settings.QUARTERDAY_QUEUE == "none":
        return {}
    names = ["worker", "beat"] if settings.QUARTERDAY_QUEUE == "celery" else ["worker"]
    silent, stands = (
        timedelta(minutes=most) for most in (settings.SILENT_MINUTES, settings.STANDSTILL_MINUTES)
    )
    return dict.fromkeys(names, silent) | dict.fromkeys(kinds, stands)


def standing_still(kinds: list[str]) -> list[str]:
    """Name the processes and the kinds of work that gave no sign for too long; one query."""
    expected, now = parts(kinds), clock.now()
    if not expected:
        return []
    signs = dict(Heartbeat.objects.filter(name__in=expected).values_list("name", "at"))
    return [name for name, most in expected.items() if not _lives(signs.get(name), most, now)]


def _lives(sign: datetime | None, most: timedelta, now: datetime) -> bool:
    return now - most <= (sign or _STARTED) <= now + AHEAD


def broker_answers() -> bool:
    """Say whether the broker takes messages; yes where none is used."""
    if settings.QUARTERDAY_QUEUE != "celery":
        return True
    try:
        # One second: this is asked while a page waits, and a page that hangs hides the very news it brings.
        with current_app.connection_for_write(connect_timeout=1) as connection:
            connection.ensure_connection(max_retries=1, interval_start=0, interval_step=0, timeout=1)
    except OperationalError:
        return False
    return True
