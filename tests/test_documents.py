"""The documents are short, name only what the repository holds, and say of each figure and duty what the files say."""

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from clinic.duties.kinds import KINDS

ROOT = Path(__file__).parent.parent
FOLDERS = (".ci", "clinic", "deploy", "docs", "lesions", "scheduling", "tests")
TEXTS = {".py", ".toml", ".md", ".html", ".js", ".css", ".txt", ".json", ".yml", ""}
# The one thing outside that may be named: open pictures which tests use where somebody has put them.
OPTIONAL = "../shared/data"
MARKS = {
    "found": "found",
    "found-2nd": "second-hand, confirm before use",
    "memory H": "from memory",
    "memory M": "from memory, confirm before use",
    "design": "clinic setting",
}
# What a name of a file looks like; names with * { < … are patterns, and a bare word is no path.
_NAMED = re.compile(r"(?<![\w./*{}<>…-])((?:\.\./)*[\w.-]+(?:/[\w.-]+)*\.md)\b")
_IN_DOCUMENTS = re.compile(r"(?<![\w./*{}<>…~$-])((?:[\w-]+/)*[\w-]+\.(?:py|toml|md|json|png|yml))\b")
_LINK = re.compile(r"\]\(([^)#]+?)(?:#[^)]*)?\)")
_OUTSIDE = re.compile(r"(?:\.\./)+(?:shared|design|reference|findings|notes)[\w./-]*")
# M-S3-IA, T-OCP-H: keys of published rows, as rule sets and tests write them.
_KEY = re.compile(r"\b(?:[MBST]-(?:[A-Z][A-Z0-9]+|S2k)|LM)-?[A-Za-z0-9-]*[A-Za-z0-9]\b")
# Documents name these: what a run writes, what a clinic or a user has.
MADE_ELSEWHERE = {"FACTS.json", "FILE.json", "E.json", "L.json", "NAME_mask.png"}


def held() -> list[Path]:
    inside = (path for folder in FOLDERS for path in (ROOT / folder).rglob("*"))
    return [path for path in [*inside, *ROOT.iterdir()] if path.is_file() and "__pycache__" not in path.parts]


def texts() -> Iterator[tuple[Path, str]]:
    for path in held():
        if path.suffix in TEXTS and path != Path(__file__):
            try:
                yield path, path.read_text(encoding="utf-8")
            except UnicodeDecodeError:
                continue


def is_held(name: str, beside: Path, names: set[str]) -> bool:
    """From the repository's root, from the folder of who names it, or as the end of a path that is held."""
    return (
        (ROOT / name).is_file()
        or (beside.parent / name).is_file()
        or any(known.endswith(f"/{name}") for known in names)
    )


def not_held(pattern: re.Pattern[str], found: Iterator[tuple[Path, str]]) -> list[str]:
    names = {f"/{path.relative_to(ROOT).as_posix()}" for path in held()}
    return [
        f"{path.relative_to(ROOT)}: {name}"
        for path, text in found
        for name in sorted(set(pattern.findall(text)) - MADE_ELSEWHERE)
        if not is_held(name, path, names)
    ]


def test_the_readme_and_the_guide_are_short():
    assert len((ROOT / "README.md").read_text().split()) < 900
    assert len((ROOT / "DEVELOPERS.md").read_text().splitlines()) < 200


def test_no_document_is_named_that_a_cloner_does_not_have():
    assert not not_held(_NAMED, texts())


def test_documents_name_files_that_are_here():
    documents = ((path, text) for path, text in texts() if path.suffix == ".md")
    assert not not_held(_IN_DOCUMENTS, documents)


def test_links_of_documents_lead_somewhere():
    links = [
        (path, link)
        for path, text in texts()
        if path.suffix == ".md"
        for link in _LINK.findall(text)
        if not link.startswith(("http:", "https:", "mailto:"))
    ]
    assert links
    assert not [(path.name, link) for path, link in links if not (path.parent / link).exists()]


def test_nothing_outside_is_named_but_the_optional_pictures():
    named = {
        f"{path.relative_to(ROOT)}: {name}"
        for path, text in texts()
        for name in _OUTSIDE.findall(text)
        if not name.startswith(OPTIONAL)
    }
    assert not named


@pytest.mark.parametrize(
    "planted", ["see clinical.md §4", "`../design/domain.md`", "operations.md K2", "docs/no.md"]
)
def test_a_planted_reference_is_found(planted):
    assert not_held(_NAMED, iter([(ROOT / "clinic" / "clock.py", planted)]))


# ---- docs/sources.md -----------------------------------------------------------------------------


def rows_with_a_mark() -> list[tuple[str, str]]:
    sets = [tomllib.loads(path.read_text()) for path in (ROOT / "scheduling/rulesets").glob("*.toml")]
    criteria = tomllib.loads((ROOT / "clinic/tiers/criteria.toml").read_text())
    rows = [row for one in sets for row in one["rule"]]
    rows += [row for kind in ("criterion", "prompt", "context") for row in criteria[kind]]
    return sorted({(row["id"], row["flag"]) for row in rows})


def sources() -> str:
    return (ROOT / "docs/sources.md").read_text()


def test_each_rule_and_each_criterion_stands_in_the_sources_with_its_mark():
    lines = sources().splitlines()
    for name, flag in rows_with_a_mark():
        rows = [line for line in lines if line.startswith(f"| `{name}` |") and "suture" not in name]
        marked = not rows or any(line.endswith(f"| {MARKS[flag]} |") for line in rows)
        assert f"`{name}`" in sources() and marked, (name, flag)


def test_each_limit_of_a_measure_stands_in_the_sources():
    limits = tomllib.loads((ROOT / "lesions/limits/flags.toml").read_text())["limit"]
    assert not [row["code"] for row in limits if f"`{row['code']}`" not in sources()]


def test_each_key_of_a_published_row_is_defined():
    used = {key for path, text in texts() if path.suffix in {".py", ".toml"} for key in _KEY.findall(text)}
    assert {"M-S3-IA", "T-OCP-H"} <= used
    assert not [key for key in sorted(used) if key not in sources()]


# ---- docs/domain.md ------------------------------------------------------------------------------


def test_the_table_of_what_is_owed_is_the_one_that_the_program_uses():
    days = tomllib.loads((ROOT / "clinic/duties/limits.toml").read_text())["days"]
    table = {
        row.split("`")[1]: row
        for row in (ROOT / "docs/domain.md").read_text().splitlines()
        if row.startswith("| `")
    }
    assert list(table) == list(KINDS)
    for code, kind in KINDS.items():
        expected = [
            f"`{code}` {kind.words}",
            kind.opened_by,
            kind.ended_by,
            kind.may_end.value,
            kind.list.value,
        ]
        assert table[code] == f"| {' | '.join([*map(str, expected), in_words(days.get(code))])} |"


def in_words(limit: dict[str, int] | None) -> str:
    if limit is None:
        return "its window"
    both = [limit["days"]] if limit["days"] == limit["urgent"] else [limit["days"], limit["urgent"]]
    return ", ".join(map(str, both)) + (" working" if limit.get("working") else "")
