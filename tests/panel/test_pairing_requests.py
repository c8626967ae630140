"""What a browser asks the panel itself: who is paired, codes for more, and the end of a pairing. (Our own design.)"""

from pathlib import Path
from typing import Any

import pytest

from engine.panel.paired_browsers import Role
from engine.panel.pairing import Pairing
from engine.panel.pairing_requests import PairingRequests
from engine.protocol import TABLE
from tests.support.panel_ends import Engine, panel

ADDRESS = "http://192.0.2.1:8420/"
SHOW = ("scene", "next", "back", "first", "entry", "song", "next song", "back song", "panic")


@pytest.fixture
def pairing(tmp_path: Path) -> Pairing:
    made = Pairing(tmp_path / "pairings.json", lambda role, code: None, today=lambda: 0.0)
    made.begin()
    return made


def asked(pairing: Pairing, more: dict[str, Any], role: Role = "operate", token: str | None = None) -> dict[str, Any]:
    return PairingRequests(pairing, ADDRESS).answer({"do": "pairings", **more}, role, token).plain()


def test_a_page_that_may_do_everything_sees_pairings_and_codes(pairing: Pairing) -> None:
    """It sees each pairing, its own marked, and for each role the code with the address and its picture."""
    token, _ = pairing.pair(pairing.codes["show"], "192.0.2.7")
    answer = asked(pairing, {}, token=token)
    (row,) = answer["pairings"]
    assert (row["role"], row["address"], row["own"]) == ("show", "192.0.2.7", True)
    assert [each["role"] for each in answer["codes"]] == ["operate", "show", "view"]
    assert {each["role"]: each["code"] for each in answer["codes"]} == pairing.codes
    for each in answer["codes"]:
        assert each["link"] == f"{ADDRESS}#{each['code']}"
        size = len(each["squares"])
        assert size in range(21, 178, 4)  # ISO/IEC 18004: versions 1 to 40
        assert {len(line) for line in each["squares"]} == {size}
        # ISO/IEC 18004, 6.3.3: a finder pattern in three corners
        assert [line[:7] for line in each["squares"][:7]] == [line[-7:] for line in each["squares"][:7]]
        assert each["squares"][0][:8] == "11111110"


def test_a_pairing_is_ended_from_a_page(pairing: Pairing) -> None:
    """A page ends one pairing; the second time it says that there is none."""
    token, _ = pairing.pair(pairing.codes["view"], "192.0.2.7")
    name = asked(pairing, {})["pairings"][0]["id"]
    assert asked(pairing, {"what": "end", "id": name})["done"]
    assert pairing.role_of(token) is None
    assert asked(pairing, {"what": "end", "id": name})["code"] == "unchanged"


@pytest.mark.parametrize("more", [{"what": "end"}, {"what": "end", "id": 3}, {"what": "begin", "id": "x"}, {"more": 1}])
def test_other_requests_are_refused(pairing: Pairing, more: dict[str, Any]) -> None:
    """Anything else is refused with what is allowed."""
    assert asked(pairing, more)["code"] == "bad-request"


@pytest.mark.parametrize("role", ["show", "view"])
def test_nobody_else_sees_them(pairing: Pairing, role: Role) -> None:
    """A browser for the show, or one that looks, sees no pairing and no code, and ends none."""
    for more in ({}, {"what": "end", "id": "x"}):
        answer = asked(pairing, more, role)
        assert (answer["done"], answer["code"]) == (False, "not-allowed")
        assert answer.keys() == {"done", "code", "text"}


def test_a_panel_for_this_machine_shows_no_codes(pairing: Pairing) -> None:
    """Where other machines are not admitted, there are no codes to show."""
    answer = PairingRequests(pairing, None).answer({"do": "pairings"}, "operate", None).plain()
    assert answer["codes"] == []


def test_what_the_show_role_may() -> None:
    """A browser for the show may recall scenes in every way and panic; everything else needs more, or looks."""
    assert {words for words, row in TABLE.items() if row.role == "show"} == {*SHOW}


async def test_a_browser_for_the_show_runs_it_and_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Over its socket, its commands reach the engine and no others do; pairings are refused in words."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    engine = Engine()
    async with engine.playing(), panel(tmp_path, from_phone=True) as ends:
        async with ends.live(await ends.paired("show")) as live:
            assert await live.hear() == {"role": "show"}
            deeds = [words for words, row in TABLE.items() if row.role in ("show", "operate")]
            whole = ("test note", "next song", "back song")  # two words, and both are what it does
            for number, words in enumerate(deeds):
                do, _, what = words.partition(" ")
                request = {"do": words} if words in whole else {"do": do, **({"what": what} if what else {})}
                answer = await live.ask(number, **request)
                may = TABLE[words].role == "show"
                assert answer["done"] == may, words
                assert may or "run the show and change nothing else" in answer["text"]
            assert (await live.ask(999, do="pairings"))["code"] == "not-allowed"
        async with ends.live(await ends.paired("operate")) as live:
            assert (await live.ask(do="pairings"))["text"] == "2 browsers paired"
    assert {asked["do"] for asked in engine.asked if asked["do"] in SHOW} == {*SHOW}


async def test_a_page_that_is_opened_renews_its_cookie(tmp_path: Path) -> None:
    """The page comes with the cookie again, which then lasts as long as the pairing."""
    async with panel(tmp_path, from_phone=True) as ends:
        cookie = await ends.paired("view")
        answer = await ends.http("GET", "/", ends.usual(cookie))
        assert answer.status == 200
        assert answer.one("set-cookie").startswith(f"{cookie}; ")
        assert "Max-Age=2592000" in answer.one("set-cookie")
