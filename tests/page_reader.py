"""A page taken apart by the standard library's parser, so that tests see what a browser would."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "link", "br", "input", "img", "hr"}


@dataclass
class Element:
    """One element: its tag, attributes, children and text in order."""

    tag: str
    attrs: dict[str, str]
    parent: Element | None = None
    content: list[Element | str] = field(default_factory=list)

    @property
    def text(self) -> str:
        """Everything written inside, blanks folded."""
        parts = [part if isinstance(part, str) else part.text for part in self.content]
        return " ".join("".join(parts).split())

    def all(self, tag: str | None = None, **attrs: str) -> Iterator[Element]:
        """Give the elements inside with this tag and these attributes (``class_``: one of its classes)."""
        for child in self.content:
            if isinstance(child, str):
                continue
            wanted = attrs.get("class_")
            fits = tag in (None, child.tag) and all(
                child.attrs.get(key) == value for key, value in attrs.items() if key != "class_"
            )
            if fits and (wanted is None or wanted in child.attrs.get("class", "").split()):
                yield child
            yield from child.all(tag, **attrs)

    def one(self, tag: str | None = None, **attrs: str) -> Element:
        """Give the only such element."""
        found = list(self.all(tag, **attrs))
        assert len(found) == 1, f"{len(found)} of {tag} {attrs}"
        return found[0]


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("", {})
        self.open = self.root

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names)), f"{tag}: an attribute twice: {names}"
        element = Element(tag, {name: value or "" for name, value in attrs}, self.open)
        self.open.content.append(element)
        if tag not in VOID:
            self.open = element

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open.content.append(
            Element(tag, {name: value or "" for name, value in attrs}, self.open)
        )

    def handle_endtag(self, tag: str) -> None:
        assert self.open.tag == tag, f"<{self.open.tag}> closed by </{tag}>"
        assert self.open.parent is not None
        self.open = self.open.parent

    def handle_data(self, data: str) -> None:
        self.open.content.append(data)


def read_page(page: bytes) -> Element:
    """Read a page; fail where an element is not closed in its own order."""
    reader = _Reader()
    reader.feed(page.decode("utf-8"))
    reader.close()
    assert reader.open is reader.root, f"<{reader.open.tag}> is not closed"
    return reader.root.one("html")
