"""Everybody in the demo: all invented, the telephone numbers from the range kept free for drama (from memory)."""

from dataclasses import dataclass

from clinic.models import Role
from clinic.project.demo.events import Person

CLINIC = "Marram Street Skin Clinic"
PHONE = "01632 960{:03d}"


@dataclass(frozen=True)
class Worker:
    username: str
    name: str
    role: str


STAFF = (
    Worker("bryony", "Bryony Tarnwick", Role.NURSE),
    Worker("kofi", "Kofi Asherbourne", Role.NURSE),
    Worker("ilse", "Dr Ilse Fennimarsh", Role.DERMATOLOGIST),
    Worker("tomas", "Dr Tomas Okerbrandt", Role.DERMATOLOGIST),
    Worker("rowan", "Rowan Pellwick", Role.MANAGER),
    Worker("sacha", "Sacha Quillfeather", Role.ADMINISTRATOR),
)

PEOPLE = (
    Person(
        "ia-kept",
        "Odalys",
        "Brackenfold",
        (1958, 3, 14),
        "Tarrowmere",
        sex="female",
        practitioner="Dr Wren Hollinshore, Tarrowmere, 01632 960 900",
        referrer="Dr Wren Hollinshore, Tarrowmere",
    ),
    Person("ib-late", "Emeka", "Thornquist", (1971, 11, 2), "Nether Wick", "tan", sex="male"),
    Person("iiib-missed", "Perpetua", "Vandermoor", (1949, 9, 30), "Larkhythe", "very_light"),
    Person("ia-due", "Lachlan", "Oyelstrand", (1963, 6, 21), "Marram"),
    Person(
        "ib-unreached",
        "Hesper",
        "Quillenbach",
        (1966, 1, 9),
        "Tarrowmere",
        sex="female",
        referrer="Dr Amaro Tidesley, Nether Wick, 01632 960 901",
    ),
    Person("no-thickness", "Anselm", "Dravenport", (1955, 8, 17), "Marram", "very_light"),
    Person("no-anchor", "Yevgenia", "Holtermarsh", (1961, 4, 25), "Upper Sallow"),
    Person("what-follows", "Corvin", "Estermoor", (1952, 12, 5), "Larkhythe"),
    Person("lapsed", "Marisol", "Achterwold", (1968, 2, 28), "Nether Wick", "intermediate"),
    Person("in-situ-kept", "Fenwick", "Ballandrey", (1946, 10, 11), "Marram"),
    Person("in-situ-due", "Adaeze", "Lindqvarre", (1974, 7, 7), "Tarrowmere", "brown"),
    Person("bcc-due", "Bertil", "Crossolven", (1943, 5, 19), "Upper Sallow", "very_light"),
    Person("scc-cancelled", "Philippa", "Nordwether", (1939, 3, 3), "Marram"),
    Person("scc-kept", "Ruaridh", "Zellmarten", (1950, 9, 12), "Larkhythe"),
    Person("grown", "Imke", "Stavrolind", (1983, 1, 24), "Tarrowmere"),
    Person("new-colour", "Dashiell", "Moorvale", (1979, 8, 30), "Marram", "intermediate"),
    Person("unchanged", "Sunniva", "Tellerhorn", (1990, 4, 6), "Nether Wick"),
    Person("three-moles", "Joaquim", "Fallowmere", (1985, 12, 18), "Tarrowmere", "tan"),
    Person("unaligned", "Rosamund", "Iverholt", (1976, 6, 1), "Larkhythe"),
    Person("doubtful", "Tariq", "Wendelmoor", (1988, 10, 23), "Marram", "intermediate"),
    Person("urgent", "Ghislain", "Pemberlow", (1957, 2, 15), "Upper Sallow"),
    Person("urgent-claimed", "Noor", "Castlemarch", (1994, 11, 11), "Marram", "tan"),
    Person("firsts", "Wilhelmina", "Sorrelby", (1992, 5, 29), "Tarrowmere"),
    Person("first-dark", "Chidera", "Vossingham", (1980, 3, 8), "Marram", "dark"),
    Person("just-photographed", "Leontyne", "Mirkwater", (1987, 9, 4), "Nether Wick", "brown"),
    Person("in-the-queue", "Casimir", "Undermarl", (1972, 7, 27), "Larkhythe"),
    Person("carrier", "Saoirse", "Dunvarrick", (1989, 2, 2), "Marram", "very_light"),
    Person("carrier-due", "Isidore", "Dunvarrick", (1962, 6, 13), "Marram", "very_light"),
    Person("high-no-slot", "Thessaly", "Garroway-Lund", (1948, 4, 16), "Upper Sallow", photographs=False),
    Person("high-planned", "Mbali", "Rosenwarne", (1970, 8, 9), "Tarrowmere", "dark"),
    Person("high-uncalled", "Evander", "Skelderton", (1953, 11, 20), "Nether Wick", photographs=None),
    Person("reminder", "Clemency", "Oxtarne", (1978, 1, 31), "Larkhythe"),
    Person("above-average", "Torvald", "Hesselwyke", (1981, 5, 5), "Marram", "very_light"),
    Person("average", "Pilar", "Anstrowen", (1998, 12, 12), "Tarrowmere", "intermediate"),
    Person("no-risk", "Ewart", "Glimmerford", (1965, 3, 22), "Marram"),
    Person("biopsied", "Zuleika", "Marchvine-Rolle", (1969, 10, 3), "Upper Sallow", "intermediate"),
    Person("not-told", "Alasdair", "Vinterholm", (1954, 7, 15), "Marram"),
    Person("to-tell", "Beatrix", "Kallenmoor", (1996, 6, 8), "Larkhythe"),
    Person("dead-number", "Oswin", "Farthinglake", (1959, 9, 26), "Nether Wick"),
    Person("interpreter", "Mehwish", "Talvarani", (1973, 4, 2), "Tarrowmere", "tan", interpreter="Urdu"),
    Person("deceased", "Gwendolen", "Arkwater", (1934, 1, 17), "Marram"),
    Person("transferred", "Bastian", "Oldervane-Lyth", (1967, 8, 24), "Larkhythe"),
    Person("discharged", "Delphine", "Wintersby", (1999, 2, 19), "Tarrowmere"),
    Person("same-name-elder", "Imre", "Halvorsund", (1951, 5, 10), "Marram"),
    Person("same-name-younger", "Imre", "Halvorsund", (1984, 10, 28), "Upper Sallow"),
)

# The only full name that two people bear: the pages must tell them apart.
NAMESAKES = ("Imre", "Halvorsund")
