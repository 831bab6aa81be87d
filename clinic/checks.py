"""Check before the program starts that nothing was left unregistered: what is missing would go unchecked."""

from collections.abc import Iterator
from typing import Any

from django.apps import apps
from django.core.checks import CheckMessage, Error

from clinic import policies
from clinic.models import PolicyKind
from clinic.models.base import AppendOnly
from clinic.trail import triggers


def check_registries(**_: Any) -> list[CheckMessage]:
    return [*_tables_without_triggers(), *_kinds_without_a_checker()]


def _tables_without_triggers() -> Iterator[CheckMessage]:
    for model in apps.get_models():
        if issubclass(model, AppendOnly) and model not in triggers.APPEND_ONLY:
            text = f"{model._meta.label} is append-only, and no trigger guards it: register it in ready()."
            yield Error(text, obj=model, id="clinic.E001")


def _kinds_without_a_checker() -> Iterator[CheckMessage]:
    for kind in PolicyKind:
        if kind not in policies.CHECKS:
            yield Error(f"Nothing checks a policy of the kind “{kind.value}”.", id="clinic.E002")
