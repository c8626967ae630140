"""The sentences of README and handbook, and the rule by which one of them is a promise.

A sentence is a promise if it has an amount (a number with its unit) or a word that admits no exception. Headings,
tables, pictures and code are left out, and so is the line that says what a page is for.
"""

import re
from collections.abc import Iterator
from functools import cache
from typing import Final

from markdown_it import MarkdownIt

from engine import handbook
from tests.support.paths import ROOT

_NUMBER: Final = (
    r"(?:\d[\d,.]*|two|three|four|five|six|seven|eight|ten|twenty|thirty|sixteen|fifty|a hundred|a thousand"
    r"|half a|a third of a|a tenth of a|a ninth of a|about a)"
)
_UNIT: Final = (
    r"(?:ms|milliseconds?|s|seconds?|minutes?|days?|years?|times|bytes?|[kK]B|MB|GB|bits|characters|pixels|messages?"
    r"|blocks|notes?|parts|live edits|edits|versions|browsers|windows|connections|tries|ports|presses|releases"
    r"|channels|unread answers|datagrams|guesses|%)"
)
_AMOUNT: Final = re.compile(rf"\b{_NUMBER}[ -]{_UNIT}(?!\w)", re.IGNORECASE)
_WITHOUT_EXCEPTION: Final = re.compile(
    r"\b(?:never|always|nothing|no|none|nobody|every|everything|each|keeps?|kept|survives?)\b", re.IGNORECASE
)
_END: Final = re.compile(r"(?<=[.!?]) (?=[^a-z ])")


@cache
def sentences() -> dict[str, list[str]]:
    """By place: a page's topic, "README", or "README: " and a heading of it. Each sentence in one line, as Markdown."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    found = {f"README: {heading}" if heading else "README": said for heading, said in _sections(readme).items()}
    for topic, page in handbook.pages().items():
        _, *said = [sentence for section in _sections(page.text).values() for sentence in section]
        found[topic] = said  # without the page's purpose
    return found


def is_promise(sentence: str) -> bool:
    """By the rule above."""
    return bool(_AMOUNT.search(sentence) or _WITHOUT_EXCEPTION.search(sentence))


def _sections(markdown: str) -> dict[str, list[str]]:
    """The sentences below each heading of the second level; "" is what is above the first."""
    found: dict[str, list[str]] = {}
    for heading, paragraph in _paragraphs(markdown):
        found.setdefault(heading, []).extend(_END.split(" ".join(paragraph.split())))
    return found


def _paragraphs(markdown: str) -> Iterator[tuple[str, str]]:
    """Each paragraph, also of a list, with the heading above it."""
    heading = within = ""
    for token in MarkdownIt("commonmark").enable("table").parse(markdown):
        if token.type != "inline":
            within = token.tag
        elif within == "h2":
            heading = token.content
        elif within == "p" and not token.content.startswith("!["):
            yield heading, token.content
