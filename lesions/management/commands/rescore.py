from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from clinic import progress
from lesions.analysis.version import VERSION
from lesions.limits import wording
from lesions.measuring import remeasure
from lesions.measuring.remeasure import Moved
from lesions.models import JobState
from lesions.pictures import wording as pictures


class Command(BaseCommand):
    help = (
        "Measure every picture anew that has no figures by the present version. Old figures stay; "
        "stopped and started again it goes on where it was."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--limit", type=int, metavar="N", help="at most N pictures now")
        parser.add_argument("--dry-run", action="store_true", help="say how many there are and end")

    def handle(self, *args: Any, limit: int | None, dry_run: bool, **options: Any) -> None:
        # Taken down once: measured pictures leave the question, and asking anew would skip or repeat some.
        todo = list(remeasure.left().values_list("pk", flat=True))
        self.stdout.write(f"Version {VERSION}: {len(todo)} pictures have no figures by it.")
        if dry_run or not todo:
            return
        failed = self.measure(todo[:limit])
        for line in failed:
            self.stdout.write(line)
        rest = remeasure.left().count()
        self.stdout.write(f"Done: {len(todo[:limit])}. Could not be measured: {len(failed)}. Left: {rest}.")
        self.tell(remeasure.moved())

    def measure(self, todo: list[int]) -> list[str]:
        """One line for each picture that could not be measured."""
        failed = []
        for number, image_id in enumerate(todo, start=1):
            rows = remeasure.remeasure_all(image_id)
            words = [
                pictures.of_row(row.failure, row.failure_params)
                for row in rows
                if row.state == JobState.FAILED
            ]
            failed += [f"picture {image_id}: {each}" for each in words]
            progress.show(self.stdout, number, len(todo))
        return failed

    def tell(self, rows: list[Moved]) -> None:
        if not rows:
            self.stdout.write("No picture has figures by an earlier version to set beside these.")
            return
        self.stdout.write(
            f"{'measure':<24}{'pictures':>9}{'median change':>16}{'largest change':>17}{'lost':>6}{'new':>6}"
        )
        for row in rows:
            name = wording.measure_name(row.name) + (" (px)" if row.name.endswith("_px") else "")
            changes = f"{_per_cent(row.median):>16}{_per_cent(row.largest):>17}"
            self.stdout.write(f"{name:<24}{row.pictures:>9}{changes}{row.lost:>6}{row.gained:>6}")


def _per_cent(share: float | None) -> str:
    return "-" if share is None else f"{100 * share:+.1f} %"
