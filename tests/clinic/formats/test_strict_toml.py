"""The strict reader of TOML: each fault has its place, all are found at once, and no text breaks it."""

import pytest

from clinic.formats import fault_wording, strict_toml
from clinic.formats.strict_toml import Fault, FaultyText


def faults_of(text, ask):
    """The faults, as a person reads them, of a file that this function asks for its keys."""
    return [fault_wording.say(fault) for fault in strict_toml.read(text, lambda whole: ask(whole) or True)[1]]


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (Fault("", 3, "no_toml_deep"), "line 3: not readable as TOML: nested too deeply"),
        (Fault("rule[0:r].every", None, "missing"), "rule[0:r].every: is missing"),
        (Fault("", None, "none_there", {"head": "[[rule]]"}), "at least one [[rule]] is needed"),
    ],
)
def test_a_fault_reads_as_a_sentence_with_its_place(fault, words):
    assert fault_wording.say(fault) == words


@pytest.mark.parametrize(
    ("text", "ask", "faults"),
    [
        ("odd = 1", lambda t: t.has_keys(["a"], ["b"]), ["odd: is not known here", "a: is missing"]),
        ("", lambda t: t.has_keys(["a"], (), {"a": "no_text"}), ["a: must be a text that is not empty"]),
        ("schema = true", lambda t: t.has_schema(1), ["schema: must be 1"]),
        ("schema = 1.0", lambda t: t.has_schema(1), ["schema: must be 1"]),
        ('a = " "', lambda t: t.text("a"), ["a: must be a text that is not empty"]),
        ("a = 1", lambda t: t.text_or_none("a"), ["a: must be a text that is not empty"]),
        ("", lambda t: t.text_or_none("a"), []),
        ("a = ['x', 1]", lambda t: t.texts("a"), ["a: must be a list of texts"]),
        ("a = 'z'", lambda t: t.choice("a", ("x", "y")), ["a: must be one of x, y, not 'z'"]),
        ("a = ['x']", lambda t: t.choice("a", ("x",)), ["a: must be one of x, not ['x']"]),
        ("a = 0", lambda t: t.number("a", above=0), ["a: must be a number above 0"]),
        ("a = 9", lambda t: t.number("a", 0, 9), ["a: must be a number above 0 and below 9"]),
        ("a = nan", lambda t: t.number("a", above=0), ["a: must be a number above 0"]),
        ("a = inf", lambda t: t.number("a", above=0), ["a: must be a number above 0"]),
        ("a = true", lambda t: t.number("a", above=0), ["a: must be a number above 0"]),
        ("a = 3", lambda t: t.parsed("a", int, "no_table"), ["a: must be a table"]),
        ("a = 1", lambda t: t.table("a").text("b"), ["a: must be a table", "a.b: must be a text that is not empty"]),
        ("a = {}", lambda t: t.table("a", "none_there", filled=True, head="x"), ["a: at least one x is needed"]),
        ("", lambda t: t.tables("a", needed=True), ["a: at least one [[a]] is needed"]),
        ("a = 1", lambda t: t.tables("a", needed=True), ["a: must be a list of tables, each headed [[a]]"]),
        ("a = [1]", lambda t: t.tables("a", like="{ b = 1 }"), ["a[0]: must be a table { b = 1 }"]),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_a_fault_with_its_path(text, ask, faults):
    assert faults_of(text, ask) == faults


def test_what_a_parser_refuses_is_a_fault_with_the_value():
    _, (fault,) = strict_toml.read("a = 'x'", lambda table: table.parsed("a", int, "no_count"))
    assert (fault.path, fault.code, fault.params) == ("a", "no_count", {"value": "'x'"})


def test_tables_of_tables_are_named_by_number_and_id():
    text = '[[a]]\nid = "one"\n[[a.b]]\n[[a]]\nid = 2\n[a.c]\n'

    def ask(whole):
        for a in whole.tables("a"):
            for b in a.tables("b"):
                b.text("x")
            a.table("c").text("y")

    found = faults_of(text, ask)
    assert found == [
        "a[0:one].b[0].x: must be a text that is not empty",
        "a[0:one].c.y: must be a text that is not empty",
        "a[1].c.y: must be a text that is not empty",
    ]


def test_a_name_that_stands_twice_is_found_at_its_second_place():
    text = 'a = [{ id = "x" }, { id = "y" }, { id = "x" }, { id = 1 }, { id = 1 }]'
    twice = []
    assert faults_of(text, lambda table: twice.extend(strict_toml.repeated(table.tables("a"), "id"))) == []
    assert [table.path for table in twice] == ["a[2:x]"]


def test_what_fits_is_read():
    text = 'schema = 1\nname = "n"\nsize = 2\nwords = ["a"]\nkind = "x"\n[more]\nodd = true\n'

    def build(table):
        assert table.has_keys(("schema", "name", "size", "words", "kind", "more"))
        table.has_schema(1)
        more = table.table("more").values
        return (
            table.text("name"),
            table.number("size", 0),
            table.texts("words"),
            table.choice("kind", ("x",)),
            more,
        )

    assert strict_toml.load(text, build) == ("n", 2.0, ("a",), "x", {"odd": True})


def test_an_error_spoils_a_file_and_a_warning_does_not():
    def warned(table):
        table.fault("edition", "another one is newer", "warning")
        return "built"

    assert strict_toml.load("", warned) == "built"
    found, faults = strict_toml.read("", warned)
    assert (found, [fault.kind for fault in faults]) == ("built", ["warning"])
    with pytest.raises(FaultyText, match="a: no_text") as refused:
        strict_toml.load("", lambda table: table.text("a"))
    assert [fault.path for fault in refused.value.faults] == ["a"]


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("a = 1\nb = = 1\nc = 2", 2, " from column 5 on"),
        ('a = "x\nb = 1', 1, " from column 7 on"),
        ("a = 1\nb = 1 c = 2", 2, " from column 7 on"),
        ("a = 1\na = 2\nb = 3", 2, ": what ends before column 6 is there already"),
        ("[a]\nb = 1\n[a]\nc = 1", 3, ": what ends before column 3 is there already"),
        ("a = { b = 1, b = 2 }\nc = 1", 1, ": what ends before column 19 is there already"),
        ("a = 1\nb = [1,", 2, ": it ends in the middle of a line, a text, a list or a table"),
        ("a = 1\nb = " + "[" * 5000, 2, ": nested too deeply"),
        ("a = 1\nb = " + "1" * 5000 + "\nc = 2\nd = 3", 2, ": a number has thousands of digits"),
    ],
)
def test_what_is_no_toml_is_one_fault_with_its_line(text, line, words):
    built, (fault,) = strict_toml.read(text, lambda table: table)
    assert built is None and (fault.path, fault.line) == ("", line)
    assert fault_wording.say(fault) == f"line {line}: not readable as TOML{words}"


def test_a_value_is_quoted_short_however_deep_or_large_it_is():
    deep = {}
    for _ in range(5000):
        deep = {"a": deep}
    quoted = [strict_toml.quote(value) for value in (deep, 16**5000, "x" * 5000, [1] * 5000)]
    assert all(0 < len(words) < 120 for words in quoted)
    assert strict_toml.as_number(16**5000) is None
