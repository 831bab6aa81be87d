"""Read a page as somebody does who sees or hears it: by visible words, and by role and accessible name.

The roles are those of ARIA in HTML (W3C), as far as the pages use them; the mapping and the way to an accessible name
(aria-label, label, alternative text, own words) are from memory. `"words" in page` asks for visible words alone: what stands
in the markup (a tag, an address) is refused there, since it is no longer found by it when only the markup changes.
"""

from __future__ import annotations

from collections.abc import Iterator
from html.parser import HTMLParser

_VOID = {"area", "base", "br", "col", "hr", "img", "input", "link", "meta", "source", "wbr"}
_UNSEEN = {"desc", "head", "script", "style", "template", "title"}
_INLINE = {"a", "abbr", "b", "bdi", "code", "em", "i", "label", "mark", "q", "small", "span", "strong", "sub", "sup", "time",
           "tspan", "u"}  # fmt: skip
_ROLES = {
    "a": "link", "button": "button", "form": "form", "img": "img", "legend": "legend", "li": "listitem", "nav": "navigation",
    "option": "option", "p": "paragraph", "select": "combobox", "strong": "strong", "summary": "summary", "svg": "img",
    "table": "table", "td": "cell", "textarea": "textbox", "th": "columnheader", "tr": "row",
    **{f"h{level}": "heading" for level in range(1, 7)},
}  # fmt: skip
_INPUTS = {"checkbox": "checkbox", "radio": "radio", "submit": "button", "hidden": "", "file": "file"}
_FIELDS = ("textbox", "checkbox", "radio", "combobox", "file")
_NAMED_BY_WORDS = {"button", "cell", "columnheader", "heading", "legend", "link", "listitem", "option", "paragraph", "row",
                   "strong", "summary"}  # fmt: skip


class Element:
    """A part of a page; the whole page is one too."""

    def __init__(self, tag: str, attributes: dict[str, str], parent: Element | None) -> None:
        self.tag, self.attributes, self.parent = tag, attributes, parent
        self.children: list[Element | str] = []

    def __repr__(self) -> str:
        return f"<{self.tag} {self.attributes}: {self.text[:200]!r}>"

    def __contains__(self, words: str) -> bool:
        if words.startswith("/") or any(mark in words for mark in ("</", '="', "<svg", "<a")):
            raise ValueError(
                f"{words!r} is markup or an address: ask for it by role and name, or with leads_to()"
            )
        return " ".join(words.split()) in self.text

    def walk(self) -> Iterator[Element]:
        """Each element inside, in the order of the page."""
        for child in self.children:
            if isinstance(child, Element):
                yield child
                yield from child.walk()

    @property
    def text(self) -> str:
        """The visible words, each run of white space as one blank."""
        return " ".join("".join(self._words()).split())

    def _words(self) -> Iterator[str]:
        for child in self.children:
            if isinstance(child, str):
                yield child
            elif child.tag not in _UNSEEN and "hidden" not in child.attributes:
                apart = "" if child.tag in _INLINE else " "
                yield from (apart, *child._words(), apart)

    @property
    def role(self) -> str:
        if "role" in self.attributes:
            return self.attributes["role"]
        if self.tag == "input":
            return _INPUTS.get(self.attributes.get("type", "text"), "textbox")
        return _ROLES.get(self.tag, "") if self.tag != "a" or "href" in self.attributes else ""

    @property
    def name(self) -> str:
        """What the element is called by who cannot see it."""
        if label := self.attributes.get("aria-label"):
            return label
        if ids := self.attributes.get("aria-labelledby"):
            return " ".join(
                found.text for one in ids.split() for found in self._root().walk() if found.get("id") == one
            )
        if self.role in _FIELDS:
            return next((label.text for label in self._root().walk() if label._labels(self)), "")
        if self.role == "img":
            titles = [one.text for one in self.walk() if one.tag == "title"]
            return self.get("alt") or next(iter(titles), "")
        if self.tag in ("table", "fieldset"):
            return next((one.text for one in self.walk() if one.tag in ("caption", "legend")), "")
        return self.get("value") if self.tag == "input" else self.text if self.role in _NAMED_BY_WORDS else ""

    def _labels(self, field: Element) -> bool:
        return self.tag == "label" and (self.get("for") == field.get("id") or field in self.walk())

    def _root(self) -> Element:
        return self.parent._root() if self.parent else self

    def get(self, attribute: str) -> str:
        return self.attributes.get(attribute, "")

    def find_all(self, role: str, name: str | None = None) -> list[Element]:
        """Everything of a role, or of that exact name too."""
        return [one for one in self.walk() if one.role == role and name in (None, one.name)]

    def find(self, role: str, name: str) -> Element:
        """The one element of this role and name; else a fault that lists the names there are."""
        found = self.find_all(role, name)
        assert len(found) == 1, (
            f"{len(found)} of role {role!r} are named {name!r}; the names there are: "
            f"{[one.name for one in self.find_all(role)]}"
        )
        return found[0]

    def button(self, name: str) -> Element:
        return self.find("button", name)

    def link(self, name: str) -> Element:
        return self.find("link", name)

    def buttons(self) -> list[str]:
        return [one.name for one in self.find_all("button")]

    def links(self) -> list[str]:
        return [one.name for one in self.find_all("link")]

    def leads_to(self, address: str) -> bool:
        """Whether a link goes, or a form is sent, to exactly this address."""
        targets = {"a": "href", "form": "action", "button": "formaction"}
        return any(one.get(targets[one.tag]) == address for one in self.walk() if one.tag in targets)

    def shows_picture(self, address: str) -> bool:
        """Whether a picture is drawn from this address, in the page or inside a drawing."""
        return any(
            address in (one.get("src"), one.get("href")) for one in self.walk() if one.tag in ("img", "image")
        )

    def fields(self, name: str = "") -> list[Element]:
        """What can be filled in; of one `name`, as it is sent, hidden ones too."""
        kinds = ("input", "select", "textarea")
        if name:
            return [one for one in self.walk() if one.tag in kinds and one.get("name") == name]
        return [one for one in self.walk() if one.role in _FIELDS]

    def offered(self, name: str) -> list[str]:
        """Every value that can be sent under this name: choices, ticks, and the buttons that carry one."""
        mine = [one for one in self.walk() if one.get("name") == name]
        lists = [option for one in mine if one.tag == "select" for option in one.find_all("option")]
        return [one.get("value") for one in (*mine, *lists) if one.tag in ("input", "button", "option")]

    def chosen(self) -> list[str]:
        """Names of all that is ticked, or picked among radio buttons."""
        return [one.get("name") for one in self.walk() if one.tag == "input" and one.is_chosen]

    @property
    def loads_again(self) -> bool:
        """Whether the browser is told to ask for the page again by itself."""
        return any(one.tag == "meta" and one.get("http-equiv") == "refresh" for one in self.walk())

    def field(self, label: str) -> Element:
        """The one field with this label."""
        found = [one for one in self.fields() if one.name == label]
        assert len(found) == 1, (
            f"{len(found)} fields are labelled {label!r} of {[one.name for one in self.fields()]}"
        )
        return found[0]

    @property
    def is_chosen(self) -> bool:
        return "checked" in self.attributes or "selected" in self.attributes

    @property
    def value(self) -> str:
        """What would be sent, as the page stands."""
        if self.tag == "select":
            return next((one.get("value") for one in self.find_all("option") if one.is_chosen), "")
        if self.tag == "textarea":
            return "".join(one for one in self.children if isinstance(one, str)).removeprefix("\n")
        return self.get("value")

    def rows(self) -> list[list[str]]:
        """The words of each cell of each table row that has cells."""
        found = (
            [cell.text for cell in row.walk() if cell.tag in ("td", "th")] for row in self.find_all("row")
        )
        return [cells for cells in found if cells]


class _Builder(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.page = self.at = Element("page", {}, None)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        made = Element(tag, {name: value or "" for name, value in attrs}, self.at)
        self.at.children.append(made)
        if tag not in _VOID:
            self.at = made

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in _VOID:
            self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        assert tag == self.at.tag or tag in _VOID, f"</{tag}> closes <{self.at.tag}> at {self.getpos()}"
        self.at = self.at.parent or self.at

    def handle_data(self, data: str) -> None:
        self.at.children.append(data)


def read(source: object) -> Element:
    """A page from a response or from its markup; a tag that is never closed is a fault."""
    markup = source if isinstance(source, str) else source.content.decode()
    builder = _Builder()
    builder.feed(markup)
    builder.close()
    assert builder.at is builder.page, f"<{builder.at.tag}> is never closed"
    return builder.page
