"""Histories that turn on pictures: pairs three months apart, first pictures, and what must not wait."""

from collections.abc import Mapping

from clinic.project.demo.events import (
    Booked,
    Called,
    Cut,
    Decided,
    Event,
    Listed,
    Mole,
    Noted,
    Refused,
    Reported,
    Risk,
    Seen,
    Shot,
    Spaced,
)

SOME_MOLES = {"naevi": "41-100", "atypical": "1-5", "phototype": "III", "sunburns": True}
MANY_MOLES = {"naevi": "over100", "atypical": "over10", "phototype": "II"}
CARRIER = {
    "gene_carrier": True,
    "relatives": 2,
    "counselling": "seen",
    "naevi": "over100",
    "atypical": "6-10",
    "phototype": "I",
}
FEW_MOLES = {"naevi": "16-40", "phototype": "IV"}
DARK_SKIN = {"naevi": "0-15", "phototype": "VI"}
MORE_MOLES = {
    "3": ("upper back", "right"),
    "4": ("lower back", "left"),
    "5": ("thigh, front", "left"),
    "6": ("forearm, back", "right"),
    "7": ("upper arm, front", "left"),
    "8": ("lower leg, back", "right"),
}

SOME_ASYMMETRY = {
    "asymmetry": "1",
    "border": "2",
    "colours": ["light_brown", "dark_brown"],
    "structures": ["network", "dots"],
}


def opened(
    ago: int, key: str, site: str, side: str, seed: int, kind: str = "plain", scale: bool = True
) -> tuple[Event, ...]:
    """A lesion is registered and photographed, and the dermatologist wants to see it again in three months."""
    return (
        Mole(ago, key, site, side, kind=kind, seed=seed, monitoring="short"),
        Shot(ago, key, scale=scale),
        Decided(ago - 3, key, "look_again", months=3),
    )


def mapped(ago: int, places: Mapping[str, tuple[str, str]]) -> tuple[Event, ...]:
    """Small lesions photographed so that they can be compared one day, with nothing to do about any of them."""
    return tuple(
        event
        for number, (key, (site, side)) in enumerate(places.items())
        for event in (
            Mole(ago, key, site, side, seed=79 + 2 * number, monitoring="long"),
            Shot(ago, key),
            Decided(ago - 3, key, "reassure"),
        )
    )


PAIRS: dict[str, tuple[Event, ...]] = {
    "grown": (
        Risk(100, SOME_MOLES),
        Seen(100),
        *opened(97, "1", "upper back", "right", 3),
        Listed(97, "1", "abcd", SOME_ASYMMETRY),
        Spaced(97, "P4M", "Two new naevi in half a year; comes more often until they are known"),
        Shot(5, "1", change="grown"),
    ),
    "new-colour": (
        Risk(100, SOME_MOLES),
        Seen(100),
        *opened(98, "1", "thigh, front", "left", 7, kind="mottled"),
        Shot(6, "1", change="patch"),
    ),
    "unchanged": (
        Risk(99, SOME_MOLES),
        Seen(99),
        *opened(96, "1", "abdomen", "right", 75),
        Shot(4, "1", change="same"),
    ),
    "three-moles": (
        Risk(280, MANY_MOLES),
        Seen(280),
        *opened(278, "1", "upper back", "left", 11),
        *opened(97, "2", "upper arm, front", "right", 13),
        *opened(97, "3", "forearm, back", "left", 15, scale=False),
        Seen(97),
        Shot(97, "1", change="same"),
        Decided(94, "1", "look_again", months=3),
        Shot(5, "1", change="same"),
        Shot(5, "2", change="same"),
        Shot(5, "3", change="grown", scale=False),
    ),
    "unaligned": (
        Risk(99, SOME_MOLES),
        Seen(99),
        *opened(98, "1", "chest", "left", 17, kind="mottled"),
        Shot(6, "1", change="another"),
    ),
    "doubtful": (
        Risk(98, FEW_MOLES),
        Mole(8, "1", "lower back", "midline", kind="faint", seed=63),
        Shot(8, "1", scale=False),
        *opened(98, "2", "lower leg, front", "right", 27, kind="hairy"),
        Shot(6, "2", change="same"),
    ),
    "just-photographed": (
        Risk(97, FEW_MOLES | {"phototype": "V"}),
        *opened(96, "1", "hand, back", "right", 29),
        Shot(0, "1", change="same"),
        Mole(0, "2", "foot", "left", kind="plain", seed=31),
        Shot(0, "2"),
    ),
    "in-the-queue": (
        Risk(98, SOME_MOLES),
        Seen(98),
        *opened(97, "1", "upper back", "midline", 33),
        *opened(97, "2", "buttock", "left", 35),
        Shot(0, "1", change="grown"),
        Shot(0, "2", change="same"),
    ),
}

FIRSTS: dict[str, tuple[Event, ...]] = {
    "urgent": (
        Risk(160, SOME_MOLES),
        Mole(3, "1", "ear", "right", kind="pink", seed=37),
        Shot(3, "1"),
        Noted(3, "1", "bleeding", "It bled twice when I dried myself."),
        Noted(3, "1", "raised", "It was flat in the spring."),
    ),
    "urgent-claimed": (
        Risk(45, FEW_MOLES),
        Mole(7, "1", "neck, front", "left", kind="dark", seed=39),
        Shot(7, "1"),
        Noted(7, "1", "growing", "Twice as large since the holidays."),
        Called(4, "voicemail", purpose="lesion_examination", hour=9),
        Called(1, "no_answer", purpose="lesion_examination", hour=16, by=1),
    ),
    "firsts": (
        Risk(9, SOME_MOLES),
        Seen(9),
        Mole(9, "1", "upper back", "right", seed=41),
        Shot(9, "1"),
        Mole(9, "2", "lower leg, back", "left", kind="cut off", seed=5),
        Shot(9, "2"),
        Refused(9, "2", "IMG_0417.HEIC"),
    ),
    "first-dark": (
        Risk(10, DARK_SKIN),
        Mole(10, "1", "palm", "left", kind="plain", seed=45),
        Shot(10, "1"),
    ),
}

GOING_ON: dict[str, tuple[Event, ...]] = {
    "carrier": (
        Risk(370, CARRIER),
        *(Seen(ago) for ago in (370, 186)),
        Mole(370, "1", "upper back", "left", seed=47, monitoring="long"),
        Mole(370, "2", "abdomen", "left", seed=49, monitoring="long"),
        *(Shot(370, key) for key in "12"),
        *(Decided(366, key, "reassure") for key in "12"),
        *(Shot(186, key, change="same") for key in "12"),
        *(Decided(183, key, "reassure") for key in "12"),
        *mapped(186, MORE_MOLES),
        Mole(186, "9", "chest", "right", kind="large", seed=93, monitoring="long"),
        Shot(186, "9"),
        Decided(183, "9", "look_again", months=6),
        Risk(186, CARRIER),
        Booked(9, on=3),
        Called(9, "booked", hour=10),
    ),
    "high-planned": (
        Risk(64, MANY_MOLES | {"phototype": "VI"}),
        Seen(64),
        Mole(252, "1", "upper arm, back", "left", seed=51, monitoring="long"),
        Shot(252, "1"),
        Decided(249, "1", "reassure"),
        Shot(64, "1", change="same"),
        Decided(62, "1", "reassure"),
    ),
    "above-average": (
        Risk(150, {"phototype": "II", "blue_eyes": True, "sunburns": True}),
        Seen(150),
        Mole(370, "1", "forearm, front", "right", seed=53, monitoring="long"),
        Shot(370, "1"),
        Decided(366, "1", "reassure"),
        Mole(370, "2", "lower leg, front", "left", seed=65, monitoring="long"),
        Shot(370, "2"),
        Decided(366, "2", "reassure"),
        *(Shot(150, key, change="same") for key in "12"),
        *(Decided(148, key, "reassure") for key in "12"),
    ),
    "interpreter": (
        Risk(95, SOME_MOLES),
        Seen(95),
        *opened(95, "1", "forearm, back", "right", 55),
        Called(3, "no_answer", purpose="lesion_image", hour=11, note="With an interpreter in Urdu."),
    ),
}

RESULTS: dict[str, tuple[Event, ...]] = {
    "biopsied": (
        Risk(20, SOME_MOLES),
        Mole(9, "1", "breastbone", "midline", kind="irregular", seed=57),
        Shot(9, "1"),
        Decided(6, "1", "biopsy"),
        Cut(4, "biopsy", "1"),
        Booked(4, on=2, purpose="result_visit"),
    ),
    "not-told": (
        Risk(40, SOME_MOLES),
        Mole(16, "1", "scalp", "right", kind="large", seed=59),
        Shot(16, "1"),
        Decided(14, "1", "biopsy"),
        Cut(12, "biopsy", "1"),
        Reported(1, "melanoma", {"thickness": "0.9", "ulceration": False}, anchored=False),
    ),
    "to-tell": (
        Risk(30, FEW_MOLES),
        Mole(16, "1", "chin", "midline", note="Decided at the couch, without a picture."),
        Decided(16, "1", "excise"),
        Cut(8, "excision", "1"),
        Seen(3, ("wound_check", "suture_removal")),
        Reported(2, "benign"),
        Booked(2, on=1, purpose="result_visit"),
    ),
}

WATCHED: dict[str, tuple[Event, ...]] = {**PAIRS, **FIRSTS, **GOING_ON, **RESULTS}
