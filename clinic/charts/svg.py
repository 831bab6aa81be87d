"""Write the small parts that all charts share: escaped SVG elements, and how wide a word will be."""

from html import escape
from typing import Final

# Wider than most system sans at 11 px, so that what is found to fit does fit.
CHAR_PX: Final = 6.5


def number(value: float) -> str:
    """Write a number with two decimals at most and no zeros at its end."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def element(name: str, content: str = "", **attributes: str | float) -> str:
    """Write one SVG element; values of attributes are escaped, `content` is markup already.

    Underscores in attribute names become hyphens; `class_` is `class`.
    """
    written = "".join(f' {_attribute(key)}="{_value(value)}"' for key, value in attributes.items())
    return f"<{name}{written}>{content}</{name}>" if content else f"<{name}{written}/>"


def text(words: str, x: float, y: float, **attributes: str | float) -> str:
    return element("text", escape(words), x=x, y=y, **attributes)


def titled(words: str) -> str:
    return element("title", escape(words)) if words else ""


def width_of(words: str) -> float:
    """Estimate the width in px of `words` at the strip's text size."""
    # Reckoned and not measured: what draws here has no fonts, and the reader's browser has its own.
    return len(words) * CHAR_PX


def picture(body: str, *, width: float, height: float, title: str, desc: str) -> str:
    """Write an `svg` element with role, title and description, sized to scale with its box."""
    head = element("title", escape(title)) + element("desc", escape(desc))
    return element(
        "svg", head + body, xmlns="http://www.w3.org/2000/svg", class_="strip", role="img",
        viewBox=f"0 0 {number(width)} {number(height)}", width=width, height=height,
    )  # fmt: skip


def _attribute(key: str) -> str:
    return key.rstrip("_") if key.endswith("_") else key.replace("_", "-")


def _value(value: str | float) -> str:
    return escape(value) if isinstance(value, str) else number(value)
