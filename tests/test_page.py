"""The reader of pages itself: what it finds, and what it refuses, so that no test that uses it is empty."""

import pytest

from tests.page import read

PAGE = read("""
<head><title>Not seen</title></head>
<h1>Call <a href="tel:000">000 1</a></h1>
<p hidden>Unseen</p><p>One&nbsp;person to <b>reach</b>ed<br>today &lt; 2</p>
<form action="/send/"><label for="on">Day</label><input id="on" name="day" value="2026-06-17">
<label>Agreed <input type="checkbox" name="agreed" checked></label>
<label for="why">Why</label><textarea id="why" name="why">
asked for</textarea>
<label for="how">How</label><select id="how" name="how"><option value="a">A</option><option value="b" selected>B</option></select>
<input type="hidden" name="revision" value="3"><button>Call</button><button aria-label="Call again">again</button></form>
<table><caption>Duties</caption><tr><th>Who</th></tr><tr><td>Ada</td><td>today</td></tr></table>
<svg role="img"><title>A year</title><image href="/drawn.png"/></svg><img src="/picture.jpg" alt="A mole">
<script>"in a script"</script>
""")


@pytest.mark.parametrize("words", ["Call 000 1", "One person to reached today < 2", "Ada today", "asked for"])
def test_visible_words_are_found(words):
    assert words in PAGE


@pytest.mark.parametrize("words", ["Not seen", "Unseen", "in a script", "2026-06-17"])
def test_what_nobody_sees_is_no_word_of_the_page(words):
    assert words not in PAGE


@pytest.mark.parametrize("markup", ["Call</button>", 'name="day"', "<svg", "/send/", "Call <a"])
def test_markup_is_no_question_about_words(markup):
    with pytest.raises(ValueError, match="by role and name"):
        assert markup not in PAGE


@pytest.mark.parametrize(
    ("role", "name"),
    [("heading", "Call 000 1"), ("link", "000 1"), ("button", "Call"), ("button", "Call again"), ("textbox", "Day"),
     ("checkbox", "Agreed"), ("combobox", "How"), ("table", "Duties"), ("img", "A year"), ("img", "A mole")],
)  # fmt: skip
def test_an_element_is_found_by_role_and_name(role, name):
    assert PAGE.find(role, name).role == role


def test_a_name_that_is_not_there_is_a_fault_with_the_names_there_are():
    with pytest.raises(AssertionError, match="Call again"):
        PAGE.button("Cal")


def test_fields_have_a_label_and_a_value():
    assert [PAGE.field(label).value for label in ("Day", "Why", "How")] == ["2026-06-17", "asked for", "b"]
    assert PAGE.field("Agreed").is_chosen and PAGE.fields("revision")[0].value == "3"
    assert [one.name for one in PAGE.fields()] == ["Day", "Agreed", "Why", "How"]


def test_addresses_of_links_forms_and_pictures():
    assert PAGE.leads_to("tel:000") and PAGE.leads_to("/send/") and not PAGE.leads_to("/drawn.png")
    assert PAGE.shows_picture("/drawn.png") and PAGE.shows_picture("/picture.jpg")
    assert PAGE.rows() == [["Who"], ["Ada", "today"]]


@pytest.mark.parametrize("markup", ["<p><b>open</p>", "<div>"])
def test_a_tag_that_is_not_closed_is_a_fault(markup):
    with pytest.raises(AssertionError, match="close"):
        read(markup)
