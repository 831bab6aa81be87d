"""Tell the time to everything but the two cores, which get the day as an argument. Demo and tests set it with `at`."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime

from django.utils import timezone

# A context variable and no global: who sets the clock back moves it for no request that is served beside.
_set_to: ContextVar[datetime | None] = ContextVar("clock", default=None)


def now() -> datetime:
    return _set_to.get() or timezone.now()


def today() -> date:
    """Give the clinic's own day: due dates are local days, never taken from a UTC date."""
    return timezone.localdate(now())


@contextmanager
def at(moment: datetime) -> Iterator[None]:
    """Run a block as if it were `moment`."""
    token = _set_to.set(moment)
    try:
        yield
    finally:
        _set_to.reset(token)
