from collections import Counter
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from clinic import clock, progress
from clinic.models import Patient
from scheduling.planning import plan_diff, replan, rules_in_force
from scheduling.planning.plan_diff import Difference
from scheduling.today import worklists


class Command(BaseCommand):
    help = (
        "Make the plans anew that are behind their facts, rules or time, and say what changes for whom. "
        "Run twice it changes nothing more; people stand under their record numbers."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--all", action="store_true", help="everybody, also whose plan is up to date")
        parser.add_argument(
            "--dry-run", action="store_true", help="try each plan, say what it would change, and take it back"
        )

    def handle(self, *args: Any, dry_run: bool, **options: Any) -> None:
        if rules_in_force.rules_in_force() is None:
            raise CommandError("No rules are in force, so nothing is planned for anybody.")
        everybody = Patient.objects.filter(merged_into__isnull=True).order_by("pk")
        todo = (
            list(everybody.values_list("pk", flat=True))
            if options["all"]
            else replan.patients_to_replan(None)
        )
        self.stdout.write(f"{len(todo)} plans are {'asked for' if options['all'] else 'out of date'}.")
        found = self.plan(todo, keep=not dry_run)
        if not dry_run:
            worklists.build(clock.today())  # once for all: who became due is on today's list
        self.tell(found)
        self.sum(found, dry_run)

    def plan(self, todo: list[int], *, keep: bool) -> dict[int, list[Difference] | None]:
        found: dict[int, list[Difference] | None] = {}
        for start in range(0, len(todo), replan.PORTION):
            portion = todo[start : start + replan.PORTION]
            found |= plan_diff.replan_and_compare(portion, keep=keep)
            progress.show(self.stdout, len(found), len(todo))
        return found

    def tell(self, found: dict[int, list[Difference] | None]) -> None:
        named = Patient.objects.in_bulk([key for key, changed in found.items() if changed or changed is None])
        for patient_id, patient in named.items():
            self.stdout.write(f"{patient.number}")
            changed = found[patient_id]
            for line in ["no quiet moment for a plan: it stays out of date"] if changed is None else changed:
                self.stdout.write(f"  {line}")

    def sum(self, found: dict[int, list[Difference] | None], dry_run: bool) -> None:
        changed = [rows for rows in found.values() if rows]
        tally = Counter(row.kind for rows in changed for row in rows)
        counted = ", ".join(f"{count} {kind}" for kind, count in sorted(tally.items())) or "no difference"
        for_whom = f" for {len(changed)} of {len(found)} people" if changed else ""
        self.stdout.write(f"{'Nothing was written; it would be: ' if dry_run else ''}{counted}{for_whom}.")
