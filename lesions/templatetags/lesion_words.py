"""Write lesions in words."""

from django import template

from lesions.models import Lesion
from lesions.register import register as lesions

register = template.Library()


@register.filter
def place_words(lesion: Lesion) -> str:
    """`{{ lesion|place_words }}` → LEFT upper arm, front"""
    return lesions.place_words(lesion)
