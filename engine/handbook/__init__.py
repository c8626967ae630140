"""The handbook: one Markdown page for each topic, shown by `bayleaf help` and by the front panel.

A page begins with its title, an empty line and one line that says what it is for.
"""

from functools import cache
from importlib.resources import files
from typing import NamedTuple


class Page(NamedTuple):
    """One page. `topic` is its name in links and in `bayleaf help TOPIC`."""

    topic: str
    title: str
    purpose: str
    text: str  # Markdown, the title included


class Hit(NamedTuple):
    """A line of a page in which some words were found."""

    topic: str
    line: int  # counted from 1
    text: str


@cache
def pages() -> dict[str, Page]:
    """All pages by topic, in the alphabet's order."""
    found = {}
    for file in sorted(files(__name__).iterdir(), key=lambda file: file.name.rpartition(".")[0]):
        topic, _, kind = file.name.rpartition(".")
        if kind == "md":
            text = file.read_text(encoding="utf-8")
            title, _, purpose, _ = text.split("\n", 3)
            found[topic] = Page(topic, title.removeprefix("# "), purpose, text)
    return found


def topic_of(words: str) -> str | None:
    """The topic that these words name ("rig file", "Set-lists"), or None."""
    name = "-".join(words.casefold().split())
    return name if name in pages() else None


def search(words: str) -> list[Hit]:
    """All lines in which these words occur, in upper or lower case."""
    folded = words.casefold()
    return [
        Hit(page.topic, number, line.strip())
        for page in pages().values()
        for number, line in enumerate(page.text.splitlines(), start=1)
        if folded in line.casefold()
    ]
