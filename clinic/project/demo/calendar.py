"""Days of the demo clinic, counted from the day of the build; it is open from Monday to Friday."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.utils import timezone

_SATURDAY = 5


@dataclass(frozen=True)
class Calendar:
    today: date

    def day(self, ago: int) -> date:
        """Give the day so many days ago; one on a weekend moves back to its Friday, today stays today."""
        found = self.today - timedelta(days=ago)
        return found - timedelta(days=max(0, found.weekday() - _SATURDAY + 1)) if ago else found

    def working_day(self, steps: int) -> date:
        """Give the working day so many steps after today, before it where they are negative; 0 is today or the next."""
        found, step = self.today, -1 if steps < 0 else 1
        for _ in range(abs(steps)):
            found = self._open_from(found + timedelta(days=step), step)
        return self._open_from(found, step)

    def _open_from(self, day: date, step: int) -> date:
        while day.weekday() >= _SATURDAY:
            day += timedelta(days=step)
        return day


def moment(day: date, minutes: int, hour: int = 9) -> datetime:
    """Give a local moment, never in the future: what is done today was done just now."""
    local = datetime.combine(day, time(hour)) + timedelta(minutes=minutes)
    return min(timezone.make_aware(local), timezone.now())
