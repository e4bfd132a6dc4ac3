"""HTML and SVG elements, built so that text can only be text: what is not an element is escaped."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

VOID = frozenset(("br", "img", "meta", "link", "col", "hr", "circle", "rect", "path", "line", "use"))


class Markup(str):
    """Finished markup; only `tag`, `joined` and `stylesheet` make it."""

    __slots__ = ()


def tag(name: str, /, *content: str, **attributes: str | int | float | None) -> Markup:
    """One element. Text in `content` is escaped, Markup is not; an attribute that is None is left out.

    A trailing underscore is dropped from an attribute's name and the others become hyphens: `class_`,
    `aria_label`.
    """
    shown = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(str(value), quote=True)}"'
        for key, value in attributes.items()
        if value is not None
    )
    if name in VOID and not content:
        return Markup(f"<{name}{shown}/>")
    return Markup(f"<{name}{shown}>{joined(content)}</{name}>")


def joined(content: Iterable[str]) -> Markup:
    """Texts and elements one after the other; texts are escaped."""
    return Markup("".join(piece if isinstance(piece, Markup) else escape(piece) for piece in content))


def stylesheet(css: str) -> Markup:
    """A style element around a file of the package; nothing from a record may come in here."""
    return Markup(f"<style>\n{css}</style>")
