"""What README and handbook promise is listed in promises.toml, with the test or bench that holds it. (Our own rule.)

After an edit of README or the handbook, change promises.toml where a test here names a sentence. What a new sentence
promises needs a test first. A renamed test is renamed there, too.
"""

import ast
import tomllib
from functools import cache
from pathlib import Path
from typing import Final

import pytest

from tests.support.paths import ROOT
from tests.support.promised_sentences import is_promise, sentences

#: place -> sentence -> the tests (file::function) and benches (file) that hold it, or the reason why none does
PROMISES: Final[dict[str, dict[str, list[str] | str]]] = tomllib.loads(
    (ROOT / "tests" / "promises.toml").read_text(encoding="utf-8")
)
HELD: Final = [held for listed in PROMISES.values() for held in listed.values()]
#: the only reasons for which a sentence that looks like a promise has no test
REASONS: Final = {
    "a definition",
    "a caution or advice",
    "what Bayleaf does not do",
    "a pointer to another sentence",
}


@pytest.mark.parametrize("place", sentences())
def test_every_promise_is_listed(place: str) -> None:
    """Each sentence that is a promise by the rule is in the list, and at least one of each page and section of README.

    A section without any such sentence still says something that a test holds."""
    listed = PROMISES.get(place, {})
    assert [said for said in sentences()[place] if is_promise(said) and said not in listed] == []
    assert listed, "list one sentence of it, with the test that holds it"


@pytest.mark.parametrize("place", PROMISES)
def test_what_is_listed_is_still_said(place: str) -> None:
    """Each sentence of the list is in the text, word for word, and in its order."""
    said = sentences().get(place, [])
    assert [sentence for sentence in PROMISES[place] if sentence not in said] == []
    assert list(PROMISES[place]) == [sentence for sentence in dict.fromkeys(said) if sentence in PROMISES[place]]


def test_what_holds_a_promise_exists() -> None:
    """Each test of the list is a function that pytest collects, and each bench a file."""
    named = {holder for held in HELD if isinstance(held, list) for holder in held}
    assert [holder for holder in sorted(named) if not _exists(holder)] == []
    assert [held for held in HELD if not held] == []


def test_a_sentence_without_a_test_has_one_of_a_few_reasons() -> None:
    """Reasons are for what no test can hold; they are few, so that none of them hides a promise."""
    reasons = [held for held in HELD if isinstance(held, str)]
    assert set(reasons) == REASONS
    assert len(reasons) < len(HELD) / 10


@pytest.mark.parametrize(
    ("sentence", "promise"),
    [
        ("It ends within five seconds.", True),
        ("A loop takes 30 ms.", True),
        ("It is never sent in part.", True),
        ("Every edit plays at once.", True),
        ("No note hangs.", True),
        ("`save` keeps your comments.", True),
        ("At most 4 % of a cable.", True),
        ("Values are integers and strings.", False),
        ("Channel 5 plays the strings.", False),
    ],
)
def test_the_rule(sentence: str, promise: bool) -> None:
    """Amounts and words that admit no exception."""
    assert is_promise(sentence) == promise


def _exists(holder: str) -> bool:
    name, _, function = holder.partition("::")
    file = ROOT / name
    if not function:
        return name.startswith("bench/") and file.is_file()
    return file.name.startswith("test_") and function.startswith("test_") and function in _functions(file)


@cache
def _functions(file: Path) -> set[str]:
    """The functions at the top of a file of tests; empty if the file is missing."""
    if not file.is_file():
        return set()
    found = ast.parse(file.read_text(encoding="utf-8")).body
    return {each.name for each in found if isinstance(each, ast.FunctionDef | ast.AsyncFunctionDef)}
