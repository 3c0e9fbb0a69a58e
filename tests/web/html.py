"""Just enough HTML reading for tests: elements with their attributes, and the words of a page."""

from dataclasses import dataclass
from html.parser import HTMLParser


@dataclass(frozen=True, slots=True)
class Element:
    """One opening tag, and the text up to the next opening tag, blanks cut off."""

    name: str
    attributes: dict[str, str | None]
    text: str


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.elements: list[Element] = []
        self.words: list[str] = []
        self._silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append(Element(tag, dict(attrs), ""))
        self._silent += tag in ("script", "style")

    def handle_endtag(self, tag: str) -> None:
        self._silent -= tag in ("script", "style")

    def handle_data(self, data: str) -> None:
        if self.elements:
            last = self.elements[-1]
            self.elements[-1] = Element(last.name, last.attributes, last.text + data)
        if not self._silent:
            self.words.append(data)


def elements_of(page: str, *names: str) -> list[Element]:
    """The elements of these names, or all of them."""
    return [
        Element(element.name, element.attributes, element.text.strip())
        for element in _read(page).elements
        if not names or element.name in names
    ]


def words_of(page: str) -> str:
    """What a reader sees, blanks made single."""
    return " ".join(" ".join(_read(page).words).split())


def form_fields(page: str, action: str) -> dict[str, str]:
    """The hidden fields of the form with this action, with their values."""
    found: dict[str, str] = {}
    inside = False
    for element in elements_of(page, "form", "input"):
        if element.name == "form":
            inside = element.attributes.get("action") == action
        elif inside and element.attributes.get("type") == "hidden":
            found[element.attributes["name"] or ""] = element.attributes.get("value") or ""
    return found


def _read(page: str) -> _Reader:
    reader = _Reader()
    reader.feed(page)
    return reader
