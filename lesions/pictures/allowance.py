"""Say what reading a picture may cost in this clinic: its settings, as the image core wants them."""

from django.conf import settings

from lesions.analysis.picture.allowance import Allowance


def from_settings() -> Allowance:
    return Allowance(
        pixels=settings.PICTURE_MAX_MEGAPIXELS * 1_000_000,
        decoded=settings.PICTURE_MAX_MEGAPIXELS_DECODED * 1_000_000,
        memory=settings.PICTURE_MEMORY_MB * 1024 * 1024,
        seconds=settings.PICTURE_SECONDS,
    )
