"""FACTS for tests: what is not given is null or empty."""

from scheduling.rules.facts import facts

EMPTY = {
    "diagnoses": {
        "id": "1", "code": "melanoma", "anchor": None, "known_on": None, "invasive": None, "thickness": None,
        "ulceration": None, "n": None, "m": None, "stage": None, "stage_basis": None, "primary": None, "grade": None,
        "sentinel": None, "deposit_mm": None, "nodes_cleared": None, "risk_class": None, "lesion": None,
    },
    "lesions": {
        "id": "1", "state": "watched", "monitoring": None, "since": None, "last_image_on": None, "site": None,
        "region": None, "urgent": [],
    },
    "decisions": {
        "id": "1", "order": 1, "lesion": "1", "decision": "look_again", "on": None, "months": None, "fulfilled_on": None,
    },
    "procedures": {
        "id": "1", "kind": "excision", "on": None, "site": None, "region": None, "lesion": None, "sutures": None,
    },
    "done": {"purpose": "full_skin_check", "subject": "patient", "on": None, "not_seen": []},
    "closed": {
        "purpose": "full_skin_check", "subject": "patient", "rule": "melanoma-invasive", "of": "diagnosis:1",
        "anchor": None, "number": 1, "ground": "declined", "on": None,
    },
    "overrides": {
        "id": "1", "purpose": "full_skin_check", "subject": "patient", "reason": "a reason", "by": "Dr A",
        "decided_on": "2024-05-31", "until": None,
    },
}  # fmt: skip
RISK = {"since": None, "tier_since": None, "transplant": None}


def sign(word, on, answered_on=None, id="1"):
    return {"id": id, "sign": word, "on": on, "answered_on": answered_on}


def raw(*, status="active", born=None, risk=None, records_since=None, concerns=(), **lists):
    """FACTS schema 2 as a JSON object."""
    unknown = set(lists) - set(EMPTY)
    assert not unknown, unknown
    whole = {name: [empty | entry for entry in lists.get(name, [])] for name, empty in EMPTY.items()}
    risk = RISK | risk if risk else None
    patient = {
        "status": status, "born": born, "risk": risk, "records_since": records_since, "concerns": list(concerns),
    }  # fmt: skip
    return {"schema": 2, "patient": patient, **whole}


def build(**keys):
    return facts.parse(raw(**keys))
