"""What the core answers with: plain frozen values that go to JSON and back unchanged."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any, Self

from .version import SCHEMA

Point = tuple[float, float]
Json = dict[str, Any]


@dataclass(frozen=True)
class Scale:
    """Millimetres per pixel of the full picture; `origin` is device, ruler, hand or given."""

    mm_per_px: float
    origin: str
    rel_uncertainty: float


@dataclass(frozen=True)
class Message:
    """A doubt, a reason, a method or a refusal: its code and its plain values; `wording` makes the sentence."""

    code: str
    params: Json = field(default_factory=dict, hash=False)


@dataclass(frozen=True)
class Measure:
    """One number; a missing one is None and `method` says why. `doubtful`: made on an outline that is in doubt."""

    name: str
    value: float | None
    unit: str
    uncertainty: float | None
    method: Message
    doubtful: bool = False


@dataclass(frozen=True)
class Quality:
    """One property of the photograph against its limit; None where there is no outline to judge it by."""

    name: str
    value: float | None
    limit: float
    ok: bool


@dataclass(frozen=True)
class Outline:
    """Open ring in pixels of the full upright picture, x right, y down, pixel centres at +0.5."""

    points: tuple[Point, ...]
    drawn_by: str

    @classmethod
    def from_json(cls, value: Json) -> Self:
        return cls(_points(value["points"]), str(value.get("drawn_by", "person")))


@dataclass(frozen=True)
class Measurement:
    """Everything measured on one picture; the command `measure` gives it with its sentences."""

    version: str
    sha256: str
    width: int
    height: int
    scale: Scale | None
    outline: Outline | None
    doubt: tuple[Message, ...]
    measures: tuple[Measure, ...]
    quality: tuple[Quality, ...]

    def value(self, name: str) -> float | None:
        """Return the value of the named measure, None where it is unknown."""
        return next((m.value for m in self.measures if m.name == name), None)

    @property
    def by_program(self) -> bool:
        """Say whether the outline is the program's own."""
        return self.outline is not None and self.outline.drawn_by != "person"

    def to_json(self) -> Json:
        return {
            "schema": SCHEMA,
            "version": self.version,
            "picture": {"sha256": self.sha256, "width": self.width, "height": self.height},
            "scale": asdict(self.scale) if self.scale else None,
            "outline": _outline_json(self.outline),
            "doubt": [asdict(d) for d in self.doubt],
            "measures": [asdict(m) for m in self.measures],
            "quality": [asdict(q) for q in self.quality],
        }

    @classmethod
    def from_json(cls, value: Json) -> Self:
        picture = value["picture"]
        return cls(
            version=value["version"],
            sha256=picture["sha256"],
            width=picture["width"],
            height=picture["height"],
            scale=Scale(**value["scale"]) if value["scale"] else None,
            outline=Outline.from_json(value["outline"]) if value["outline"] else None,
            doubt=tuple(Message(**d) for d in value["doubt"]),
            measures=tuple(Measure(**m | {"method": Message(**m["method"])}) for m in value["measures"]),
            quality=tuple(Quality(**q) for q in value["quality"]),
        )


@dataclass(frozen=True)
class Registration:
    """How a LATER pixel goes to an EARLIER pixel (2 x 3 matrix), resting on "skin"; None where they do not align."""

    aligned: bool
    rests_on: str | None
    matrix: tuple[tuple[float, float, float], tuple[float, float, float]] | None
    residual_px: float | None
    mirrored: bool
    reasons: tuple[Message, ...] = ()

    def to_json(self) -> Json:
        matrix = [list(row) for row in self.matrix] if self.matrix else None
        return {**asdict(self), "matrix": matrix, "reasons": [asdict(r) for r in self.reasons]}

    @classmethod
    def from_json(cls, value: Json) -> Self:
        rows = value["matrix"]
        matrix = (_row(rows[0]), _row(rows[1])) if rows else None
        reasons = tuple(Message(**r) for r in value["reasons"])
        return cls(
            value["aligned"], value["rests_on"], matrix, value["residual_px"], value["mirrored"], reasons
        )


@dataclass(frozen=True)
class Delta:
    """Later minus earlier of one measure, beside the smallest change that repeated shots could show."""

    name: str
    unit: str
    earlier: float | None
    later: float | None
    delta: float | None
    uncertainty: float | None
    smallest_detectable: float | None
    beyond: bool | None


def area_of(found: tuple[Delta, ...]) -> Delta | None:
    """Give the change of area, in millimetres where they are known; None where there is none."""
    known = {d.name: d for d in found if d.delta is not None}
    return known.get("area") or known.get("area_px")


def area_went(found: tuple[Delta, ...]) -> int:
    """1 where the area grew beyond what repeated pictures differ by, -1 where it shrank so, else 0."""
    area = area_of(found)
    if area is None or area.delta is None or not area.beyond:
        return 0
    return 1 if area.delta > 0 else -1


@dataclass(frozen=True)
class Region:
    """Where the skin changed, as a ring of EARLIER pixels; `kind` grown, shrunk, new_colour, darker or lighter."""

    points: tuple[Point, ...]
    kind: str
    area: float
    unit: str

    def to_json(self) -> Json:
        return {
            "points": [list(p) for p in self.points],
            "kind": self.kind,
            "area": {"value": self.area, "unit": self.unit},
        }

    @classmethod
    def from_json(cls, value: Json) -> Self:
        return cls(_points(value["points"]), value["kind"], value["area"]["value"], value["area"]["unit"])


@dataclass(frozen=True)
class Comparison:
    """The later picture against the earlier one; the command `compare` gives it with its sentences."""

    version: str
    earlier: Measurement
    later: Measurement
    registration: Registration
    deltas: tuple[Delta, ...] = field(default=())
    regions: tuple[Region, ...] = field(default=())

    def to_json(self) -> Json:
        return {
            "schema": SCHEMA,
            "version": self.version,
            "earlier": self.earlier.to_json(),
            "later": self.later.to_json(),
            "registration": self.registration.to_json(),
            "deltas": [asdict(d) for d in self.deltas],
            "regions": [r.to_json() for r in self.regions],
        }

    @classmethod
    def from_json(cls, value: Json) -> Self:
        return cls(
            version=value["version"],
            earlier=Measurement.from_json(value["earlier"]),
            later=Measurement.from_json(value["later"]),
            registration=Registration.from_json(value["registration"]),
            deltas=tuple(Delta(**d) for d in value["deltas"]),
            regions=tuple(Region.from_json(r) for r in value["regions"]),
        )


@dataclass(frozen=True)
class DistanceFromOthers:
    """How far a lesion stands from the same person's others, in robust standard deviations of what differs most.

    `above` and `below` name the measures beyond the limit, of which it has more or less than the `others`.
    """

    distance: float
    above: tuple[str, ...]
    below: tuple[str, ...]
    others: int

    @property
    def is_apart(self) -> bool:
        """Whether any measure sets it apart."""
        return bool(self.above or self.below)


def _points(rows: Any) -> tuple[Point, ...]:
    return tuple((float(x), float(y)) for x, y in rows)


def _row(values: Any) -> tuple[float, float, float]:
    a, b, c = values
    return float(a), float(b), float(c)


def _outline_json(outline: Outline | None) -> Json | None:
    if outline is None:
        return None
    return {"points": [list(p) for p in outline.points], "drawn_by": outline.drawn_by}
