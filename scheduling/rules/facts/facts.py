"""FACTS: everything the planning core may know about one patient (interfaces.md); schema 2, and schema 1 is read too.

Schema 2 files what follows a procedure under `procedure:ID`, and says whether it left sutures to remove and since when
a risk tier has stood.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date as Day
from typing import Annotated, Any, Literal, cast

from scheduling.rules.facts import codec, contradictions, first_schema
from scheduling.rules.facts.codec import Pattern
from scheduling.rules.facts.codec import UnreadableFacts as UnreadableFacts

SCHEMA = 2
READ = (1, SCHEMA)

Status = Literal["active", "deceased", "transferred", "discharged"]
Tier = Literal["average", "above_average", "high", "very_high"]
Code = Literal[
    "melanoma",
    "melanoma_in_situ",
    "scc",
    "scc_in_situ",
    "bcc",
    "dysplastic_naevus",
    "other_malignant",
    "benign",
]
Nodes = Literal["N0", "N1a", "N1b", "N1c", "N2a", "N2b", "N2c", "N3a", "N3b", "N3c", "NX"]
Metastasis = Literal["M0", "M1", "M1a", "M1b", "M1c", "M1d"]
Stage = Literal["0", "IA", "IB", "IIA", "IIB", "IIC", "III", "IIIA", "IIIB", "IIIC", "IIID", "IV"]
Basis = Literal["clinical", "pathological"]
Primary = Literal["known", "none", "unassessable"]
LesionState = Literal["watched", "biopsy_decided", "biopsy_taken", "removed", "gone", "entered_in_error"]
Monitoring = Literal["short", "long"]
Sign = Literal["raised", "firm", "growing", "bleeding", "new", "painful"]
DecisionWord = Literal[
    "reassure",
    "look_again",
    "biopsy",
    "excise",
    "refer",
    "second_reading",
    "inadequate",
    "wrong_subject",
    "already_removed",
]
ProcedureKind = Literal["biopsy", "excision", "other"]
Purpose = Literal[
    "full_skin_check",
    "lesion_image",
    "lesion_examination",
    "result_visit",
    "wound_check",
    "suture_removal",
    "risk_assessment",
    "node_examination",
    "imaging_or_laboratory",
]
Ground = Literal[
    "completed",
    "superseded",
    "declined",
    "transferred",
    "moved",
    "deceased",
    "discharge",
    "error",
]


Text = Annotated[str, Pattern(r"[\s\S]*\S[\s\S]*", "a text that is not empty")]
Subject = Annotated[
    str,
    Pattern(r"patient|(diagnosis|lesion|procedure):\S+", "patient, diagnosis:ID, lesion:ID or procedure:ID"),
]
Thickness = Annotated[str, Pattern(r"(>=)?[0-9]{1,3}(\.[0-9]+)?", "millimetres as typed, 0.80 or >=0.8")]
Interval = Annotated[
    str,
    Pattern(r"P(?=[0-9])([0-9]{1,3}Y)?([0-9]{1,4}M)?([0-9]{1,4}W)?([0-9]{1,5}D)?", "a duration such as P6M"),
]
Months = Annotated[int, Pattern("", "1 to 120 whole months")]


@dataclass(frozen=True)
class Risk:
    """`since`: the first day without a break on which a tier above average, or none above it, has stood."""

    tier: Tier
    assessed_on: Day
    since: Day | None = field(default=None, metadata={"from_schema": 2})

    def followed_by(self, tier: Tier, on: Day) -> Risk:
        """The next assessment; only where it leaves or enters “average” does something begin."""
        goes_on = (self.tier == "average") == (tier == "average")
        return Risk(tier, on, (self.since or self.assessed_on) if goes_on else on)


@dataclass(frozen=True)
class PatientFacts:
    status: Status = "active"
    born: Day | None = None
    risk: Risk | None = None
    records_since: Day | None = None


@dataclass(frozen=True)
class RiskClass:
    scheme: Text
    class_: Text = field(metadata={"key": "class"})


@dataclass(frozen=True)
class Diagnosis:
    id: Text
    code: Code
    anchor: Day | None = None
    invasive: bool | None = None
    thickness: Thickness | None = None
    ulceration: bool | None = None
    n: Nodes | None = None
    m: Metastasis | None = None
    stage: Stage | None = None
    stage_basis: Basis | None = None
    primary: Primary | None = None
    risk_class: RiskClass | None = None
    lesion: Text | None = None


@dataclass(frozen=True)
class UrgentSign:
    sign: Sign
    on: Day


@dataclass(frozen=True)
class LesionFacts:
    id: Text
    state: LesionState = "watched"
    monitoring: Monitoring | None = None
    since: Day | None = None
    last_image_on: Day | None = None
    site: str | None = None
    urgent: tuple[UrgentSign, ...] = ()
    examined_in_person_on: Day | None = None


@dataclass(frozen=True)
class DecisionFact:
    id: Text
    lesion: Text
    decision: DecisionWord
    on: Day
    months: Months | None = None


@dataclass(frozen=True)
class Procedure:
    id: Text
    kind: ProcedureKind
    on: Day
    site: str | None = None
    sutures: bool | None = field(default=None, metadata={"from_schema": 2})

    @property
    def subject(self) -> str:
        return f"procedure:{self.id}"

    @property
    def leaves_sutures(self) -> bool:
        """As recorded; where nobody said, an excision does."""
        return self.kind == "excision" if self.sutures is None else self.sutures


@dataclass(frozen=True)
class Done:
    purpose: Purpose
    subject: Subject
    on: Day


@dataclass(frozen=True)
class Closed:
    purpose: Purpose
    subject: Subject
    anchor: Day
    number: int
    ground: Ground
    on: Day


@dataclass(frozen=True)
class Override:
    """A clinician's interval, or one date, in place of the rules; exactly one of the two is given."""

    id: Text
    purpose: Purpose
    subject: Subject
    reason: Text
    by: Text
    interval: Interval | None = field(default=None, metadata={"may_be_absent": True})
    date: Day | None = field(default=None, metadata={"may_be_absent": True})
    until: Day | None = None


@dataclass(frozen=True)
class Facts:
    patient: PatientFacts
    diagnoses: tuple[Diagnosis, ...] = ()
    lesions: tuple[LesionFacts, ...] = ()
    decisions: tuple[DecisionFact, ...] = ()
    procedures: tuple[Procedure, ...] = ()
    done: tuple[Done, ...] = ()
    closed: tuple[Closed, ...] = ()
    overrides: tuple[Override, ...] = ()


def parse(obj: Mapping[str, Any]) -> Facts:
    """
    Read FACTS, schema 2 or 1.

    Parameters
    ----------
    obj : Mapping
        The decoded JSON object; unknown values are null, no key of its schema is absent, days are ``YYYY-MM-DD``.

    Raises
    ------
    UnreadableFacts
        At the first unknown key, missing key, unknown word, bad day or repeated id, with its path.
    """
    if not isinstance(obj, Mapping):
        raise UnreadableFacts("", "expected an object")
    if "schema" not in obj:
        raise UnreadableFacts("schema", "is missing")
    if type(obj["schema"]) is not int or obj["schema"] not in READ:
        raise UnreadableFacts("schema", "only schemas 1 and 2 are understood")
    plain = {key: value for key, value in obj.items() if key != "schema"}
    facts = cast(Facts, codec.read(Facts, plain, "", obj["schema"]))
    contradictions.check(facts, obj["schema"])
    return first_schema.brought_up(facts) if obj["schema"] == 1 else facts


def to_json(facts: Facts) -> dict[str, Any]:
    """The JSON object of FACTS schema 2; `parse` reads it back to an equal value."""
    return {"schema": SCHEMA, **codec.write(facts)}


def schema() -> dict[str, Any]:
    """FACTS, schemas 1 and 2, as JSON Schema 2020-12, made from the dataclasses above."""
    body = codec.schema_of(Facts)
    body["properties"] = {"schema": {"enum": list(READ)}, **body["properties"]}
    body["required"] = ["schema", *body["required"]]
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "FACTS, schemas 1 and 2"}
    return {**head, **body}
