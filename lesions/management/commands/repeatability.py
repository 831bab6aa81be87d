from collections import Counter
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from clinic import clock, policies
from clinic.models import PolicyKind
from clinic.wording import write_day
from lesions.analysis import pipeline
from lesions.analysis.picture.allowance import UnreadablePicture
from lesions.analysis.types import Measurement, Scale
from lesions.analysis.version import VERSION
from lesions.limits import flags, repeatability, wording
from lesions.limits.repeatability import LEAST_PICTURES, Spread
from lesions.models import Image, ImageKind
from lesions.pictures import allowance, outlines
from lesions.pictures.intake import USUAL_SCALE_UNCERTAINTY


class Command(BaseCommand):
    help = (
        "How much each measure varies when nothing changed: one lesion photographed three times or more on one "
        "day, the camera lifted and set down again between the pictures. Prints a table for the clinic's limits."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("lesion", type=int, nargs="?", metavar="LESION_ID", help="a lesion on file")
        parser.add_argument("--on", type=date.fromisoformat, metavar="DAY", help="the day of its pictures")
        parser.add_argument("--pictures", type=Path, metavar="DIR", help="a folder of pictures instead")
        parser.add_argument("--mm-per-px", type=float, metavar="F", help="their scale, the same for all")
        parser.add_argument("--draft", action="store_true", help="keep it as a draft of the clinic's limits")

    def handle(self, *args: Any, lesion: int | None, pictures: Path | None, **options: Any) -> None:
        if (lesion is None) == (pictures is None):
            raise CommandError("Name a lesion, or a folder with --pictures.")
        if pictures is not None:
            found, what = of_folder(pictures, options["mm_per_px"]), f"pictures in {pictures.name}"
            day = clock.today()
        else:
            found, day = of_lesion(int(lesion or 0), options["on"])
            what = f"pictures of lesion {lesion}"
        if len(found) < LEAST_PICTURES:
            raise CommandError(f"{len(found)} measured {what}; at least {LEAST_PICTURES} are needed.")
        spreads = repeatability.study(found)
        self.tell(spreads, len(found), what)
        table = repeatability.as_toml(
            spreads, f"own study, {len(found)} {what}, {write_day(day)}, version {VERSION}"
        )
        self.offer(table, options["draft"])

    def tell(self, spreads: list[Spread], count: int, what: str) -> None:
        self.stdout.write(f"{count} {what}, measured by version {VERSION}.")
        self.stdout.write(f"{'measure':<26}{'mean':>10}{'SEM':>10}{'smallest change that shows':>30}")
        for row in spreads:
            share = f" ({100 * row.smallest / row.mean:.1f} %)" if row.relative and row.mean else ""
            name = wording.measure_name(row.name)
            least = f"{row.smallest:.3g} {row.unit}{share}"
            self.stdout.write(f"{name:<26}{row.mean:>10.4g}{row.sem:>10.3g}{least:>30}")
        self.stdout.write(
            f"From {count} pictures a SEM is itself known to about {100 * repeatability.unsure(count):.0f} %; "
            "twenty pictures bring it to 16 %. Sizes in pixels also vary with how far the camera was held."
        )

    def offer(self, table: str, draft: bool) -> None:
        if not draft:
            self.stdout.write(f"\nFor the clinic's limits (or again with --draft):\n\n{table}")
            return
        now = policies.in_force(PolicyKind.FLAGS)
        text = repeatability.with_table(now.toml if now else flags.shipped(), table)
        kept = policies.draft(kind=PolicyKind.FLAGS, toml=text, by=None)
        self.stdout.write(f"Kept as draft {kept.version} of the limits; two people bring it into force.")


def of_folder(folder: Path, mm_per_px: float | None) -> list[Measurement]:
    """Measure every picture of a folder here and now; raises CommandError for one that is none."""
    if mm_per_px is not None and not mm_per_px > 0:
        raise CommandError("--mm-per-px is a number above 0.")
    scale = Scale(mm_per_px, "given", USUAL_SCALE_UNCERTAINTY) if mm_per_px else None
    try:
        files = sorted(path for path in folder.iterdir() if path.is_file() and not path.name.startswith("."))
    except OSError as error:
        raise CommandError(f"{folder} cannot be read: {error.strerror}.") from error
    found = []
    for path in files:
        try:
            found.append(
                pipeline.measure(path.read_bytes(), scale=scale, allowance=allowance.from_settings())
            )
        except UnreadablePicture as error:
            raise CommandError(f"{path.name}: {error}") from error
    return found


def of_lesion(lesion: int, on: date | None) -> tuple[list[Measurement], date]:
    """The figures on file of one day: the named one, else the day with the most pictures."""
    images = list(Image.objects.filter(lesion=lesion).exclude(kind=ImageKind.OVERVIEW))
    if not images:
        raise CommandError(f"No picture of lesion {lesion} is on file.")
    # The day with the most pictures is the one on which somebody took them for this purpose.
    day = on or Counter(image.taken_on for image in images).most_common(1)[0][0]
    rows = [outlines.measured(image) for image in images if image.taken_on == day]
    # Of one version only, or the spread would also hold how two versions differ.
    results = [row.result for row in rows if row and row.version == VERSION]
    return [Measurement.from_json(result) for result in results if result], day
