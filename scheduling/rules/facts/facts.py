"""FACTS, schema 2: everything the planning core may know about one patient (docs/interfaces.md)."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date as Day
from functools import cached_property
from typing import Annotated, Any, Literal, TypeVar, cast, get_args

from clinic.formats.language import gettext_noop
from scheduling.rules.facts import codec, contradictions
from scheduling.rules.facts.codec import AtMost, Pattern
from scheduling.rules.facts.codec import UnreadableFacts as UnreadableFacts

SCHEMA = 2
About = tuple[str, str]  # purpose and subject
_Row = TypeVar("_Row")
_Key = TypeVar("_Key", bound=Hashable)

Status = Literal["active", "ending", "deceased", "transferred", "moved", "discharged"]
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
Grade = Literal["mild", "moderate", "severe"]
Sentinel = Literal["negative", "positive", "not_done"]
Region = Literal[
    "face",
    "scalp",
    "ear",
    "lip",
    "neck",
    "trunk",
    "arm",
    "hand",
    "palm",
    "leg",
    "foot",
    "sole",
    "nail",
    "genital",
]
Sign = Literal["raised", "firm", "growing", "bleeding", "new", "painful", "worry"]
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
    "rest_of_skin_check",
    "result_visit",
    "wound_check",
    "suture_removal",
    "risk_assessment",
    "node_examination",
    "node_ultrasound",
    "sectional_imaging",
    "laboratory",
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


Text = Annotated[str, Pattern(r"[\s\S]*\S[\s\S]*", gettext_noop("a text that is not empty"))]
Id = Annotated[
    str, Pattern(r"[A-Za-z0-9._-]{1,64}", gettext_noop("an id of letters, digits, “-”, “_” and “.”"))
]
Subject = Annotated[
    str,
    Pattern(
        r"patient|(diagnosis|lesion|procedure):[A-Za-z0-9._-]{1,64}",
        gettext_noop("patient, diagnosis:ID, lesion:ID or procedure:ID"),
    ),
]
Source = Annotated[
    str,
    Pattern(
        r"patient|(diagnosis|lesion|decision|procedure|override|sign|concern):[A-Za-z0-9._-]{1,64}",
        gettext_noop(
            "what a series comes from: patient, diagnosis:ID, lesion:ID, decision:ID, procedure:ID, override:ID, "
            "sign:ID or concern:ID"
        ),
    ),
]
Thickness = Annotated[
    str, Pattern(r"(>=)?[0-9]{1,3}(\.[0-9]+)?", gettext_noop("millimetres as typed, 0.80 or >=0.8"))
]
Interval = Annotated[
    str,
    Pattern(
        r"P(?=[0-9])([0-9]{1,2}Y)?([0-9]{1,3}M)?([0-9]{1,3}W)?([0-9]{1,4}D)?",
        gettext_noop("a duration such as P6M"),
    ),
]
Millimetres = Annotated[str, Pattern(r"[0-9]{1,3}(\.[0-9]{1,3})?", gettext_noop("millimetres such as 0.6"))]
Months = Annotated[int, AtMost(120)]
Order = Annotated[int, AtMost(10**15)]


@dataclass(frozen=True)
class UrgentSign:
    """A sign noted on a lesion, or a caller's concern; answered by the examination that a row links to it."""

    id: Id
    sign: Sign
    on: Day
    answered_on: Day | None = None


_TIERS: tuple[str, ...] = get_args(Tier)


@dataclass(frozen=True)
class Risk:
    """A risk tier and the days that matter about it.

    `since` is the first day without a break on which a tier above average, or none above it, has stood;
    `tier_since` the first on which this tier or a higher one has stood; null counts as the assessment's day.
    """

    tier: Tier
    assessed_on: Day
    since: Day | None = None
    tier_since: Day | None = None
    transplant: bool | None = None

    def followed_by(self, tier: Tier, on: Day) -> Risk:
        """Give the risk after the next assessment; only leaving or entering “average” begins something new."""
        goes_on = (self.tier == "average") == (tier == "average")
        since = (self.since or self.assessed_on) if goes_on else on
        holds = _TIERS.index(tier) <= _TIERS.index(self.tier)
        return Risk(tier, on, since, (self.tier_since or self.assessed_on) if holds else on, self.transplant)


@dataclass(frozen=True)
class PatientFacts:
    status: Status = "active"
    born: Day | None = None
    risk: Risk | None = None
    records_since: Day | None = None
    concerns: tuple[UrgentSign, ...] = ()


@dataclass(frozen=True)
class RiskClass:
    scheme: Text
    class_: Text = field(metadata={"key": "class"})


@dataclass(frozen=True)
class Diagnosis:
    id: Id
    code: Code
    anchor: Day | None = None
    known_on: Day | None = None
    invasive: bool | None = None
    thickness: Thickness | None = None
    ulceration: bool | None = None
    n: Nodes | None = None
    m: Metastasis | None = None
    stage: Stage | None = None
    stage_basis: Basis | None = None
    primary: Primary | None = None
    grade: Grade | None = None
    sentinel: Sentinel | None = None
    deposit_mm: Millimetres | None = None
    nodes_cleared: bool | None = None
    risk_class: RiskClass | None = None
    lesion: Id | None = None


@dataclass(frozen=True)
class LesionFacts:
    id: Id
    state: LesionState = "watched"
    monitoring: Monitoring | None = None
    since: Day | None = None
    last_image_on: Day | None = None
    site: str | None = None
    region: Region | None = None
    urgent: tuple[UrgentSign, ...] = ()


@dataclass(frozen=True)
class DecisionFact:
    """A signed decision on a lesion; `order` settles two of one day, `fulfilled_on` is the day on which it was done."""

    id: Id
    order: Order
    lesion: Id
    decision: DecisionWord
    on: Day
    months: Months | None = None
    fulfilled_on: Day | None = None


@dataclass(frozen=True)
class Procedure:
    id: Id
    kind: ProcedureKind
    on: Day
    site: str | None = None
    region: Region | None = None
    lesion: Id | None = None
    sutures: bool | None = None

    @property
    def subject(self) -> str:
        return f"procedure:{self.id}"

    @property
    def leaves_sutures(self) -> bool:
        """Say whether sutures were left; where nobody said, an excision leaves some."""
        return self.kind == "excision" if self.sutures is None else self.sutures


@dataclass(frozen=True)
class Done:
    """Something that was done; `not_seen`: regions that were left out of a full skin check."""

    purpose: Purpose
    subject: Subject
    on: Day
    not_seen: tuple[Region, ...] = ()


@dataclass(frozen=True)
class Closed:
    """One occurrence of one rule and source that somebody closed; “discharge” ends that series."""

    purpose: Purpose
    subject: Subject
    rule: Text
    of: Source
    anchor: Day
    number: int
    ground: Ground
    on: Day


@dataclass(frozen=True)
class Override:
    """A clinician's interval, or one date, in place of the rules; exactly one of the two is given."""

    id: Id
    purpose: Purpose
    subject: Subject
    reason: Text
    by: Text
    decided_on: Day
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

    # Each list by what its rows are about: read row by row, a long record would cost the square of its length.

    @cached_property
    def overrides_about(self) -> dict[About, list[Override]]:
        by_id = sorted(self.overrides, key=lambda one: one.id)
        return _grouped(by_id, lambda one: (one.purpose, one.subject))

    @cached_property
    def done_about(self) -> dict[About, list[Done]]:
        return _grouped(self.done, lambda one: (one.purpose, one.subject))

    @cached_property
    def decisions_of(self) -> dict[str, list[DecisionFact]]:
        """The decisions on each lesion, the latest last."""
        by_day = sorted(self.decisions, key=lambda one: (one.on, one.order, one.id))
        return _grouped(by_day, lambda one: one.lesion)

    @cached_property
    def diagnoses_of(self) -> dict[str | None, list[Diagnosis]]:
        return _grouped(self.diagnoses, lambda one: one.lesion)


def _grouped(rows: Iterable[_Row], key_of: Callable[[_Row], _Key]) -> dict[_Key, list[_Row]]:
    found: dict[_Key, list[_Row]] = {}
    for row in rows:
        found.setdefault(key_of(row), []).append(row)
    return found


def parse(obj: Mapping[str, Any]) -> Facts:
    """
    Read FACTS, schema 2.

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
        raise UnreadableFacts("", "no_object")
    if "schema" not in obj:
        raise UnreadableFacts("schema", "missing")
    if type(obj["schema"]) is not int or obj["schema"] != SCHEMA:
        raise UnreadableFacts("schema", "wrong_schema")
    plain = {key: value for key, value in obj.items() if key != "schema"}
    facts = cast(Facts, codec.read(Facts, plain, ""))
    contradictions.check(facts)
    return facts


def to_json(facts: Facts) -> dict[str, Any]:
    """Write FACTS as its JSON object; `parse` reads it back to an equal value."""
    return {"schema": SCHEMA, **codec.write(facts)}


def schema() -> dict[str, Any]:
    """Make the JSON Schema 2020-12 of FACTS from the dataclasses above."""
    body = codec.schema_of(Facts)
    body["properties"] = {"schema": {"const": SCHEMA}, **body["properties"]}
    body["required"] = ["schema", *body["required"]]
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "FACTS, schema 2"}
    return {**head, **body}
