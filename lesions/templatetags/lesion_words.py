"""Lesions in words."""

from django import template

from lesions import register as lesions
from lesions.models import Lesion

register = template.Library()


@register.filter
def place_words(lesion: Lesion) -> str:
    """`{{ lesion|place_words }}` → LEFT upper arm, front"""
    return lesions.place_words(lesion)
