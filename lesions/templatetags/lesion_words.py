"""Write lesions in words."""

from django import template
from django.utils.translation import gettext as _

from lesions.models import Diagnosis, Lesion, SignOff
from lesions.register import register as lesions
from lesions.results import wording as report_wording
from lesions.review import wording

register = template.Library()


@register.filter
def place_words(lesion: Lesion) -> str:
    """`{{ lesion|place_words }}` → LEFT upper arm, front"""
    return lesions.place_words(lesion)


@register.filter
def report_words(row: Diagnosis) -> list[str]:
    """`{{ row|report_words|join:"; " }}` → nodular; mitoses per mm²: 3; deep margin clear by 2 mm"""
    return report_wording.report_words(row)


@register.filter
def lesion_line(lesion: Lesion) -> str:
    """`{{ lesion|lesion_line }}` → Lesion 2 — LEFT upper arm, front"""
    return _("Lesion %(label)s — %(place)s") % {"label": lesion.label, "place": lesions.place_words(lesion)}


@register.filter
def decided(signed: SignOff) -> str:
    """`{{ signed|decided }}` → Look again in some months (4 months)"""
    return wording.decided(signed)
