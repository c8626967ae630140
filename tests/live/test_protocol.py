"""The table of requests: each has a handler, each field says what it may be. (Our own protocol; no outside source.)"""

import re
from typing import Any

import pytest

from engine.live.edit.edit_requests import EditRequests
from engine.live.edit.remote_work import RemoteWork
from engine.live.edit.rig_saving import RigSaver
from engine.live.edit.rig_session import RigSession
from engine.live.socket.panel_requests import PanelRequests
from engine.live.socket.server import SocketServer
from engine.ports.memory import MemorySystem
from engine.protocol import TABLE, Answer, AnswerCode, PanicRequest, RequestError, read_request, refused
from tests.support.engine_socket import claimed
from tests.support.paths import ROOT
from tests.support.small_show import Bench

WORDS = [*TABLE]


async def test_each_request_has_a_handler(runtime_dir: object, tmp_path: Any) -> None:
    """What the table has, the server can meet; and it has a handler for nothing else."""
    show = Bench().show
    session = RigSession(show, tmp_path / "pit.toml", "")
    panel, work = PanelRequests(show, session, MemorySystem("pit")), RemoteWork(show, session)
    with claimed() as claim:
        server = SocketServer(show, session, RigSaver(session), work, panel, claim.listener)
    handled = server._handlers.keys() | server._streams.keys()
    assert handled == {row.model for row in TABLE.values()}
    assert server._streams.keys() == {row.model for row in TABLE.values() if row.cost == "connection"}
    assert EditRequests(show, session, RigSaver(session), work).handlers.keys() < handled


@pytest.mark.parametrize("words", WORDS)
def test_each_field_says_what_it_may_be(words: str) -> None:
    """Errors quote the description of the field at fault, and name one that is not known."""
    model = TABLE[words].model
    assert [name for name, field in model.model_fields.items() if not field.description] == []
    do, _, what = words.partition(" ") if words not in ("test note",) else (words, "", "")
    with pytest.raises(RequestError) as fault:
        read_request({"do": do, **({"what": what} if what else {}), "colour": "green"})
    assert fault.value.code is AnswerCode.BAD_REQUEST
    assert str(fault.value).startswith(words)


def test_panic_waits_for_nothing() -> None:
    """No other request is in the lane of panic."""
    assert [row.model for row in TABLE.values() if row.lane == "panic"] == [PanicRequest]


def test_an_answer_has_what_every_answer_has() -> None:
    """done, code and text; other fields only where they were given."""
    assert Answer(text="yes").plain() == {"done": True, "code": "done", "text": "yes"}
    assert refused(AnswerCode.BUSY, "no").plain() == {"done": False, "code": "busy", "text": "no"}


def test_the_page_decides_by_codes_that_exist() -> None:
    """Each code that the page compares with is one of the engine's, and no sentence of an answer is looked into."""
    codes = {str(code) for code in AnswerCode}
    for file in (ROOT / "engine/panel/page").glob("*.js"):
        source = file.read_text(encoding="utf-8")
        compared = re.findall(r'\[([^]]*)\]\.includes\(\w+\.code\)|\.code [!=]== ("[\w-]+")|\bcode: ("[\w-]+")', source)
        for found in compared:
            assert set(re.findall(r'"([\w-]+)"', " ".join(found))) <= codes, file.name
        assert re.findall(r"answer\.text\.(?:includes|match|startsWith|endsWith)\w*", source) == [], file.name
