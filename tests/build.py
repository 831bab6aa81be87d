"""Builders for tests: plain functions over the same topic functions that the pages use."""

from datetime import date, timedelta
from itertools import count
from pathlib import Path
from typing import Any

from django.test import Client

from clinic import clock, policies
from clinic.models import Leave, Member, Patient, Policy, RiskAssessment, Role
from clinic.people import leave, patients, risk, staffing
from lesions.register import bodymap, register
from scheduling.rules.ruleset import ruleset

_serial = count(1)
PASSWORD = "a long word for tests 7"


def member(role: str, name: str = "", **more: Any) -> Member:
    number = next(_serial)
    return staffing.add(
        by=None,
        username=f"{role}{number}",
        name=name or f"{role} {number}",
        role=role,
        password=PASSWORD,
        **more,
    )


def nurse(**more: Any) -> Member:
    return member(Role.NURSE, **more)


def dermatologist(**more: Any) -> Member:
    return member(Role.DERMATOLOGIST, **more)


def manager(**more: Any) -> Member:
    return member(Role.MANAGER, **more)


def administrator(**more: Any) -> Member:
    return member(Role.ADMINISTRATOR, **more)


def signed_in(member: Member) -> Client:
    """A browser of its own, in which this member is signed in."""
    client = Client()
    client.force_login(member)
    return client


def away(who: Member, first: int = 0, last: int = 7, **more: Any) -> Leave:
    """Away from so many days ahead until so many days ahead."""
    today = clock.today()
    days = {"first_day": today + timedelta(days=first), "last_day": today + timedelta(days=last)}
    return leave.note(member=who, by=who, all_the_same=True, **days, **more)


def patient(by: Member | None = None, **more: Any) -> Patient:
    number = next(_serial)
    fields = {
        "given_name": "Test",
        "family_name": f"Person{number}",
        "born": date(1960, 5, 17),
        "phone": f"000 {number}",
    }
    return patients.register(by=by or nurse(), **(fields | more))


AVERAGE_ANSWERS: dict[str, Any] = {
    "naevi": "0-15",
    "atypical": "0",
    "phototype": "IV",
    "red_hair": False,
    "blue_eyes": False,
    "relatives": 0,
    "other_relatives": 0,
    "gene_carrier": False,
    "past_melanoma": False,
    "several_melanomas": False,
    "dysplastic_syndrome": False,
    "past_keratinocyte": False,
    "family_keratinocyte": False,
    "many_keratoses": False,
    "some_keratoses": False,
    "sunburns": False,
    "blistering_burns": False,
    "sunbeds": False,
    "immunosuppressed": False,
    "transplanted": False,
}


def risk_assessment(
    patient: Patient, by: Member | None = None, on: date | None = None, **answers: Any
) -> RiskAssessment:
    if risk.in_force() is None:
        tiers_in_force()
    day, given = on or clock.today(), AVERAGE_ANSWERS | answers
    known = risk.all_answers(given, patient.age_on(day))
    if risk.tiers_of(risk.in_force()).against_average(known):
        given = {"chosen": "average", "chosen_because": "few moles for the band"} | given
    return risk.assess(patient=patient, by=by or dermatologist(), assessed_on=day, **given)


def lesion(
    patient: Patient, by: Member | None = None, site: str = "45981001", side: str = "left", **more: Any
) -> Any:
    """On the front of the LEFT upper arm, unless another place is named."""
    view, x, y = bodymap.centre(site, side)
    fields = {"site": site, "side": side, "view": view, "x": x, "y": y} | more
    return register.add(patient=patient, by=by or nurse(), **fields)


def policy_in_force(kind: str, toml: str) -> Policy:
    first, second = dermatologist(), dermatologist()
    draft = policies.draft(kind=kind, toml=toml, by=first)
    proposed = policies.propose(policy=draft, by=first, revision=draft.revision)
    return policies.approve(policy=proposed, by=second, revision=proposed.revision)


def rules_in_force() -> Policy:
    return policy_in_force("rules", ruleset.shipped("default"))


def flags_in_force() -> Policy:
    return policy_in_force(
        "flags", (Path(__file__).parent.parent / "lesions" / "limits" / "flags.toml").read_text()
    )


def tiers_in_force() -> Policy:
    return policy_in_force("tiers", risk.shipped())


def days_ago(days: int) -> date:
    return clock.today() - timedelta(days=days)
