"""What happened to each person of `people.py`: tumours, checks by risk, and how care ended."""

from collections.abc import Mapping
from typing import Any

from clinic.project.demo.events import (
    Booked,
    Called,
    CareEnds,
    Cut,
    Decided,
    Ended,
    Event,
    Mole,
    Reported,
    Risk,
    Seen,
    Shot,
    Told,
)
from clinic.project.demo.watched import WATCHED

HAD_MELANOMA = {"past_melanoma": True, "naevi": "41-100", "atypical": "1-5", "phototype": "II"}
HAD_CARCINOMA = {"past_keratinocyte": True, "phototype": "II", "some_keratoses": True}
MANY_MOLES = {"naevi": "over100", "atypical": "6-10", "phototype": "II"}
CARRIER = {
    "gene_carrier": True,
    "relatives": 1,
    "naevi": "41-100",
    "atypical": "1-5",
    "phototype": "I",
    "red_hair": True,
}
IA = {
    "thickness": "0.6",
    "ulceration": False,
    "n": "N0",
    "m": "M0",
    "stage": "IA",
    "stage_basis": "pathological",
    "report_number": "MS-0417",
    "report_text": "Ellipse of skin, 24 x 11 x 6 mm.\nMelanoma, superficial spreading, 0.6 mm, no ulceration.",
    "subtype": "superficial_spreading",
    "mitoses": "0",
    "margin_peripheral": "clear",
    "margin_peripheral_mm": "3.5",
    "margin_deep": "clear",
}
IB = {
    "thickness": "1.3",
    "ulceration": False,
    "n": "N0",
    "m": "M0",
    "stage": "IB",
    "stage_basis": "pathological",
    "subtype": "nodular",
    "mitoses": "2",
    "margin_peripheral": "clear",
    "margin_deep": "clear",
}
IIIB = {
    "thickness": "1.8",
    "ulceration": False,
    "n": "N1b",
    "m": "M0",
    "stage": "IIIB",
    "stage_basis": "pathological",
}
LOW_SCC = {"risk_scheme": "S3", "risk_class": "low"}


# Days after which sutures come out, long enough for a weekend to bring the visit forward; else two weeks.
SUTURES_OUT = {"cheek": 5, "nose": 5, "upper arm, back": 10, "lower leg, back": 10}


def checks(*agos: int) -> tuple[Event, ...]:
    return tuple(Seen(ago) for ago in agos)


def removed(
    ago: int, code: str, facts: Mapping[str, Any], site: str, side: str, seed: int
) -> tuple[Event, ...]:
    """Photographed, decided, excised `ago` days before today, reported a week later, told the next day, healed."""
    return (
        Mole(ago + 12, "1", site, side, kind="irregular", seed=seed),
        Shot(ago + 12, "1"),
        Decided(ago + 10, "1", "excise"),
        *excised(ago, code, facts, mole="1", sutures=SUTURES_OUT.get(site, 14)),
    )


def excised(
    ago: int, code: str, facts: Mapping[str, Any], mole: str = "", anchored: bool = True, sutures: int = 14
) -> tuple[Event, ...]:
    return (
        Cut(ago, "excision", mole),
        Reported(ago - 6, code, facts, anchored),
        Told(ago - 7),
        Seen(ago - sutures, ("suture_removal",)),
    )


MELANOMA: dict[str, tuple[Event, ...]] = {
    "ia-kept": (
        *removed(425, "melanoma", IA, "upper back", "left", 21),
        Risk(410, HAD_MELANOMA),
        *checks(334, 243, 152, 60),
        Risk(60, HAD_MELANOMA),
        Booked(5, on=15),
    ),
    "ib-late": (
        *removed(245, "melanoma", IB, "lower leg, back", "right", 22),
        Risk(230, HAD_MELANOMA),
        *checks(154),
        Booked(70, on=-28),
        Ended(on=-28, how="attended"),
    ),
    "iiib-missed": (
        *excised(212, "melanoma", IIIB),
        Risk(200, HAD_MELANOMA),
        *checks(121),
        Booked(40, on=-9),
        Ended(on=-9, how="missed"),
        Called(5, "no_answer", hour=11),
    ),
    "ia-due": (
        *removed(370, "melanoma", IA, "upper arm, back", "right", 23),
        *checks(279, 187, 96),
        Risk(96, HAD_MELANOMA),
        Called(4, "voicemail", hour=15, note="Asked to ring back before noon."),
    ),
    "ib-unreached": (
        *excised(590, "melanoma", IB),
        *checks(499, 408, 317, 225, 134),
        Risk(134, HAD_MELANOMA),
        Called(48, "sent", route="post"),
        Called(38, "no_answer", hour=10),
        Called(24, "voicemail", hour=17),
        Called(9, "no_answer", hour=12, by=1),
    ),
    "no-thickness": (
        *excised(62, "melanoma", {"ulceration": False, "n": "N0", "m": "M0"}),
        Risk(55, HAD_MELANOMA),
    ),
    "no-anchor": (
        Risk(48, HAD_MELANOMA, note="Excised abroad; the papers are on their way."),
        Reported(47, "melanoma", IA, anchored=False),
        Told(47),
        *checks(47),
    ),
    "what-follows": (
        *excised(702, "melanoma", IA),
        Risk(690, HAD_MELANOMA),
        *checks(611, 520, 429, 337, 246, 154, 63),
        Risk(246, HAD_MELANOMA),
    ),
    "lapsed": (
        *excised(610, "melanoma", IA),
        *checks(519, 428),
        Called(322, "no_answer", hour=11),
        Risk(300, HAD_MELANOMA, note="By telephone, from the papers of the family doctor."),
    ),
    "in-situ-kept": (
        *removed(468, "melanoma_in_situ", {}, "cheek", "left", 24),
        *checks(280, 100),
        Risk(100, HAD_MELANOMA),
    ),
    "in-situ-due": (
        *excised(352, "melanoma_in_situ", {}),
        Risk(170, HAD_MELANOMA | {"phototype": "V"}),
        *checks(170),
        Booked(6, on=4),
    ),
}

CARCINOMA: dict[str, tuple[Event, ...]] = {
    "bcc-due": (
        *removed(390, "bcc", {}, "nose", "midline", 25),
        *checks(225),
        Risk(205, HAD_CARCINOMA),
        Called(8, "asks_later", hour=9, note="On a journey; wants to be called again this week.", again=7),
    ),
    "scc-cancelled": (
        *excised(232, "scc", LOW_SCC),
        Risk(220, HAD_CARCINOMA | {"many_keratoses": True}),
        Booked(45, on=-14),
        Ended(on=-16, how="clinic"),
    ),
    "scc-kept": (
        *excised(430, "scc", LOW_SCC),
        Risk(420, HAD_CARCINOMA),
        *checks(248, 65),
        Risk(65, HAD_CARCINOMA),
    ),
    "dead-number": (
        *excised(415, "bcc", {}),
        *checks(250),
        Risk(210, HAD_CARCINOMA),
        Called(7, "dead", hour=14),
    ),
    "discharged": (
        *excised(700, "bcc", {}),
        Risk(690, {}),
        *checks(335),
        CareEnds(120, "discharged", "Five quiet years by the family doctor's records; goes on there."),
    ),
    "transferred": (
        *excised(540, "melanoma_in_situ", {}),
        Risk(530, HAD_MELANOMA),
        *checks(175),
        CareEnds(90, "transferred", "Moved to the coast; the hospital there accepted on the telephone."),
    ),
}

BY_RISK: dict[str, tuple[Event, ...]] = {
    "carrier-due": (
        Risk(560, CARRIER),
        *checks(560, 375, 188),
        Risk(188, CARRIER),
        Booked(25, on=-6),
        Ended(on=-7, how="patient"),
    ),
    "high-no-slot": (
        Risk(460, MANY_MOLES),
        *checks(460),
        Risk(240, MANY_MOLES, note="By letter."),
        Called(30, "spoke", hour=10, note="Would come; no free slot before the summer school."),
        Called(12, "spoke", hour=16, by=1, note="Again nothing free on a Tuesday or Thursday."),
    ),
    "high-uncalled": (
        Risk(640, MANY_MOLES),
        *checks(640, 391),
        Risk(250, MANY_MOLES, note="By letter."),
    ),
    "reminder": (Risk(440, {"blue_eyes": True, "phototype": "III"}), *checks(440)),
    "average": (Risk(338, {}), *checks(338)),
    "no-risk": (Seen(95, note="Came with a friend; the questions were left for the next visit."),),
    "deceased": (
        *excised(500, "scc", LOW_SCC),
        Risk(490, HAD_CARCINOMA),
        *checks(318),
        CareEnds(75, "deceased", "Told by the daughter on the telephone."),
    ),
    "same-name-elder": (
        Risk(590, MANY_MOLES),
        *checks(590, 225),
        Risk(225, MANY_MOLES),
        Booked(20, on=-1),
    ),
    "same-name-younger": (
        Risk(200, MANY_MOLES),
        *checks(200),
        Booked(10, on=0),
        Called(10, "booked", hour=11),
    ),
}

HISTORIES: dict[str, tuple[Event, ...]] = {**MELANOMA, **CARCINOMA, **BY_RISK, **WATCHED}
