"""FACTS for tests: what is not given is null or empty."""

from scheduling.rules.facts import facts

EMPTY = {
    "diagnoses": {
        "id": "1", "code": "melanoma", "anchor": None, "invasive": None, "thickness": None, "ulceration": None,
        "n": None, "m": None, "stage": None, "stage_basis": None, "primary": None, "risk_class": None, "lesion": None,
    },
    "lesions": {
        "id": "1", "state": "watched", "monitoring": None, "since": None, "last_image_on": None, "site": None,
        "urgent": [], "examined_in_person_on": None,
    },
    "decisions": {"id": "1", "lesion": "1", "decision": "look_again", "on": None, "months": None},
    "procedures": {"id": "1", "kind": "excision", "on": None, "site": None, "sutures": None},
    "done": {"purpose": "full_skin_check", "subject": "patient", "on": None},
    "closed": {
        "purpose": "full_skin_check", "subject": "patient", "anchor": None, "number": 1, "ground": "declined", "on": None,
    },
    "overrides": {
        "id": "1", "purpose": "full_skin_check", "subject": "patient", "reason": "a reason", "by": "Dr A", "until": None,
    },
}  # fmt: skip


def raw(*, status="active", born=None, risk=None, records_since=None, **lists):
    """FACTS schema 2 as a JSON object."""
    unknown = set(lists) - set(EMPTY)
    assert not unknown, unknown
    whole = {name: [empty | entry for entry in lists.get(name, [])] for name, empty in EMPTY.items()}
    risk = {"since": None} | risk if risk else None
    patient = {"status": status, "born": born, "risk": risk, "records_since": records_since}
    return {"schema": 2, "patient": patient, **whole}


def build(**keys):
    return facts.parse(raw(**keys))
