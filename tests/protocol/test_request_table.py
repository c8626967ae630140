"""The table of requests, and the fields of every answer. (Our own protocol; no outside source.)"""

import re

import pytest

from engine.protocol import TABLE, Answer, AnswerCode, PanicRequest, RequestError, read_request, refused
from tests.support.paths import ROOT

WORDS = [*TABLE]


@pytest.mark.parametrize("words", WORDS)
def test_each_field_says_what_it_may_be(words: str) -> None:
    """Errors quote the description of the wrong field, and name an unknown one."""
    model = TABLE[words].model
    assert [name for name, field in model.model_fields.items() if not field.description] == []
    do, _, what = words.partition(" ") if words not in ("test note",) else (words, "", "")
    with pytest.raises(RequestError) as fault:
        read_request({"do": do, **({"what": what} if what else {}), "colour": "green"})
    assert fault.value.code is AnswerCode.BAD_REQUEST
    assert str(fault.value).startswith(words)


def test_a_name_with_half_a_character_is_refused() -> None:
    """JSON can escape a lone surrogate, which no text can hold; a field of that name gets a sentence like any other."""
    with pytest.raises(RequestError, match="half a character") as fault:
        read_request({"do": "next", "\ud800": 1})
    assert fault.value.code is AnswerCode.BAD_REQUEST


def test_panic_waits_for_nothing() -> None:
    """Panic has its lane to itself."""
    assert [row.model for row in TABLE.values() if row.lane == "panic"] == [PanicRequest]


def test_an_answer_has_what_every_answer_has() -> None:
    """An answer has done, code and text, and other fields only where they were given."""
    assert Answer(text="yes").plain() == {"done": True, "code": "done", "text": "yes"}
    assert refused(AnswerCode.BUSY, "no").plain() == {"done": False, "code": "busy", "text": "no"}


def test_the_page_decides_by_codes_that_exist() -> None:
    """Each code that the page compares with is one of the engine's, and the page never searches an answer's text."""
    codes = {str(code) for code in AnswerCode}
    for file in (ROOT / "engine/panel/page").glob("*.js"):
        source = file.read_text(encoding="utf-8")
        compared = re.findall(r'\[([^]]*)\]\.includes\(\w+\.code\)|\.code [!=]== ("[\w-]+")|\bcode: ("[\w-]+")', source)
        for found in compared:
            assert set(re.findall(r'"([\w-]+)"', " ".join(found))) <= codes, file.name
        assert re.findall(r"answer\.text\.(?:includes|match|startsWith|endsWith)\w*", source) == [], file.name


def test_a_request_has_few_fields() -> None:
    """One with thousands of unknown fields is refused before any of them is looked at; every real one has far fewer."""
    with pytest.raises(RequestError, match="at most 50 fields"):
        read_request({"do": "rig", **{f"field {number}": number for number in range(50)}})
    assert max(len(row.model.model_fields) for row in TABLE.values()) < 25
