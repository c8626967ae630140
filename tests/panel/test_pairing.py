"""One-time codes, how often they may be tried, and what is stored of a pairing."""

import json
import stat
from collections.abc import Iterable
from pathlib import Path

import pytest

from engine.panel.paired_browsers import PairedBrowser, PairedBrowsers, Role, forget
from engine.panel.pairing import Pairing, PairingRefused
from tests.support.panel_ends import Answer, panel

DAY = 86400.0


class Clock:
    """A clock of seconds that moves only when set."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


class Desk:
    """A pairing desk, and the codes that it shows."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "pairings.json"
        self.clock, self.today = Clock(), Clock()
        self.shown: list[tuple[Role, str]] = []
        self.again()

    def again(self) -> None:
        """Another process that uses the same file."""
        self.pairing = Pairing(self.path, lambda role, code: self.shown.append((role, code)), self.clock, self.today)
        self.pairing.begin()

    def code(self, role: Role) -> str:
        return [code for shown, code in self.shown if shown == role][-1]

    def pair(self, role: Role, address: str = "192.0.2.7") -> str:
        self.clock.now += 60  # slow enough not to be limited
        token, given = self.pairing.pair(self.code(role), address)
        assert given == role
        return token


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


def test_a_code_gives_its_role_once(desk: Desk) -> None:
    """Each role has a code; a used one is dead and replaced by a new one, and the other role's stays."""
    used, other = desk.code("operate"), desk.code("view")
    token = desk.pair("operate")
    assert desk.pairing.role_of(token) == "operate"
    assert desk.code("operate") != used
    assert desk.code("view") == other
    with pytest.raises(PairingRefused, match="not the code"):
        desk.pairing.pair(used, "192.0.2.7")
    assert desk.pairing.role_of(desk.pair("view")) == "view"


def test_a_code_may_be_typed_as_people_type(desk: Desk) -> None:
    """Small letters, spaces and a missing hyphen do not matter; the letters and digits do."""
    typed = f" {desk.code('view').lower().replace('-', ' ')} "
    assert desk.pairing.pair(typed, "192.0.2.7")[1] == "view"


@pytest.mark.parametrize("token", ["", "x", "operate", "ß", "\x00", "a" * 10000])
def test_a_token_that_was_not_given_is_nobodys(desk: Desk, token: str) -> None:
    """Only tokens that were issued pair a browser."""
    desk.pair("operate")
    assert desk.pairing.role_of(token) is None


def test_a_thousand_tries_get_nowhere(desk: Desk) -> None:
    """Of 1,000 tries from one address five count; then even the right code has to wait 12 seconds."""
    counted = 0
    for number in range(1000):
        with pytest.raises(PairingRefused) as refused:
            desk.pairing.pair(f"{number:08}", "192.0.2.7")
        counted += refused.value.wait == 0
    assert counted == 5
    with pytest.raises(PairingRefused, match="Wait 12 seconds"):
        desk.pairing.pair(desk.code("operate"), "192.0.2.7")
    desk.clock.now += 12
    assert desk.pairing.pair(desk.code("operate"), "192.0.2.7")[1] == "operate"


def _tries(desk: Desk, addresses: Iterable[str]) -> int:
    """How many tries of these addresses count."""
    counted = 0
    for address in addresses:
        with pytest.raises(PairingRefused) as refused:
            desk.pairing.pair("wrong", address)
        counted += refused.value.wait == 0
    return counted


def test_many_addresses_together_are_slowed_too(desk: Desk) -> None:
    """Of 5,000 tries from as many addresses 1,320 count, and from then on eighty per minute."""
    assert _tries(desk, (f"2001:db8::{number:x}" for number in range(5000))) == 1320
    desk.clock.now += 60
    assert _tries(desk, (f"2001:db8::1:{number:x}" for number in range(5000))) == 80
    with pytest.raises(PairingRefused, match="Wait 1 second,"):
        desk.pairing.pair("wrong", "192.0.2.9")


@pytest.mark.slow
def test_guessers_do_not_keep_others_from_pairing(desk: Desk) -> None:
    """Twelve machines try wrong codes, each ten times per second for an hour: a phone that has not tried before pairs
    at once at any time, and may mistype the code twice. Their own tries get no more than the share of all."""
    guessers, counted = [f"198.51.100.{machine}" for machine in range(12)], 0
    for second in range(3600):
        desk.clock.now += 1
        counted += sum(_tries(desk, guessers) for _ in range(10))
        if second % 300 == 299:
            phone = f"192.0.2.{second // 300}"
            assert _tries(desk, [phone, phone]) == 2
            assert desk.pairing.pair(desk.code("view"), phone)[1] == "view"
    assert counted <= 20 * 60 + 20 + 5 * 12


def test_a_whole_network_of_guessers_does_not_keep_others_from_pairing(desk: Desk) -> None:
    """All other addresses of a network try wrong codes, each in turn and then resting until it counts as new again."""
    guessers = [f"192.0.2.{machine}" for machine in range(2, 255)]
    for second in range(3 * 3600):
        desk.clock.now += 1
        burst = second % 3700 < 50  # all their tries as newcomers within a minute
        _tries(desk, guessers[second % 50 :: 50] * 5 if burst else [])
        if second % 300 == 40:
            assert desk.pairing.pair(desk.code("view"), f"192.0.3.{second // 300}")[1] == "view"


def test_an_address_is_new_again_after_an_hour(desk: Desk) -> None:
    """Whoever keeps trying is no newcomer, however many of the tries are refused; an hour's rest makes one again."""
    guessers = [f"198.51.100.{machine}" for machine in range(250)]
    assert _tries(desk, guessers * 5) == 5 * 250
    desk.clock.now += 60
    assert _tries(desk, guessers) == 20
    assert _tries(desk, ["192.0.2.7", "192.0.2.8"]) == 2
    desk.clock.now += 3601
    assert _tries(desk, guessers) == 250


def test_pairings_outlive_the_panel(desk: Desk) -> None:
    """Another panel on the same file knows the paired browsers and their roles, but shows new codes."""
    operate, view = desk.pair("operate"), desk.pair("view")
    before = {code for _, code in desk.shown}
    desk.again()
    assert (desk.pairing.role_of(operate), desk.pairing.role_of(view)) == ("operate", "view")
    assert {desk.code("operate"), desk.code("view")}.isdisjoint(before)


def test_the_file_is_ours_alone_and_holds_no_token(desk: Desk) -> None:
    """The file has mode 0600; neither a token nor a code can be read from it."""
    token = desk.pair("operate")
    assert stat.S_IMODE(desk.path.stat().st_mode) == 0o600
    kept = desk.path.read_text()
    assert token not in kept
    assert all(code not in kept and code.replace("-", "") not in kept for _, code in desk.shown)
    assert [path.name for path in desk.path.parent.iterdir()] == [desk.path.name]


@pytest.mark.parametrize("mode", [0o644, 0o620, 0o666])
def test_a_file_that_others_could_touch_pairs_nobody(desk: Desk, mode: int) -> None:
    """Pairings in a file that others can read or write are ignored."""
    token = desk.pair("operate")
    desk.path.chmod(mode)
    desk.again()
    assert desk.pairing.role_of(token) is None


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", '{"pairings": 3}', '{"pairings": {"a": []}}', '{"pairings": {"a": ["view", "x"]}}', "[" * 9999],
)
def test_a_broken_file_pairs_nobody(desk: Desk, text: str) -> None:
    """A file that cannot be read contains no pairings; the panel starts all the same, and pairs again."""
    desk.path.write_text(text)
    desk.path.chmod(0o600)
    desk.again()
    assert desk.pairing.role_of(desk.pair("operate")) == "operate"


def test_an_unknown_role_may_look_at_most(desk: Desk) -> None:
    """A role that this version does not know is read as the lesser one."""
    token = desk.pair("operate")
    desk.path.write_text(desk.path.read_text().replace("operate", "conduct"))
    desk.again()
    assert desk.pairing.role_of(token) == "view"


def test_a_pairing_ends_after_thirty_days(desk: Desk) -> None:
    """A pairing is valid on its last day and not after it."""
    token = desk.pair("operate")
    desk.today.now += 30 * DAY - 1
    assert desk.pairing.role_of(token) == "operate"
    desk.today.now += 1
    assert desk.pairing.role_of(token) is None


def test_a_pairing_that_is_used_renews_itself(desk: Desk) -> None:
    """A pairing that is used lasts thirty days from then; it is written down once a day, however often it is used."""
    token = desk.pair("show")
    for day in range(1, 100):
        desk.today.now = day * DAY
        desk.pairing.browsers.renew(token)
        written = desk.path.stat().st_mtime_ns
        desk.pairing.browsers.renew(token)
        assert desk.path.stat().st_mtime_ns == written
    desk.today.now = (99 + 28) * DAY
    assert desk.pairing.role_of(token) == "show"
    desk.today.now = (99 + 31) * DAY
    desk.pairing.browsers.renew(token)
    assert desk.pairing.role_of(token) is None


def test_pairings_are_listed_and_ended_one_by_one(desk: Desk) -> None:
    """Each pairing is listed with its role, its times and where it came from, and can be ended alone."""
    desk.today.now = 5 * DAY
    gone, stays = desk.pair("operate", "192.0.2.7"), desk.pair("show", "192.0.2.8")
    browsers = PairedBrowsers(desk.path, desk.today)
    first, second = browsers.listed().items()
    assert first == (browsers.name_of(gone), PairedBrowser("operate", 35 * DAY, 5 * DAY, "192.0.2.7"))
    assert second[1].role == "show"
    assert browsers.end(first[0])
    assert not browsers.end(first[0])
    assert (desk.pairing.role_of(gone), desk.pairing.role_of(stays)) == (None, "show")
    assert [*browsers.listed()] == [second[0]]


def test_pairings_of_an_earlier_version_are_kept(desk: Desk) -> None:
    """A file that says of each pairing its role and its end alone is read as before."""
    token = desk.pair("view")
    kept = json.loads(desk.path.read_text())
    desk.path.write_text(json.dumps({"format": 1, "pairings": {d: each[:2] for d, each in kept["pairings"].items()}}))
    assert desk.pairing.role_of(token) == "view"
    ((_, listed),) = desk.pairing.browsers.listed().items()
    assert listed == PairedBrowser("view", 30 * DAY)


def test_an_offered_code_lasts_ten_minutes_and_pairs_once(desk: Desk) -> None:
    """A code that another process offers pairs one browser; new ones replace it, and after ten minutes it is dead."""
    other = PairedBrowsers(desk.path, desk.today)
    other.offer({"show": "ABCD2345", "view": "EFGH2345"})
    assert desk.pairing.pair("abcd-2345", "192.0.2.7")[1] == "show"
    for code in ("ABCD2345", "EFGH2346"):
        with pytest.raises(PairingRefused):
            desk.pairing.pair(code, "192.0.2.7")
    desk.today.now += 599
    assert desk.pairing.pair("EFGH2345", "192.0.2.7")[1] == "view"
    for wait, offered in ((0, "JKLM2345"), (600, "EFGH2345")):
        other.offer({"view": "EFGH2345"})
        desk.today.now += wait
        with pytest.raises(PairingRefused):
            desk.pairing.pair(offered, "192.0.2.7")
    assert "EFGH2345" not in desk.path.read_text()


def test_two_panels_of_one_engine_keep_both_their_pairings(desk: Desk) -> None:
    """What one panel pairs the other knows, at once and after it wrote a pairing of its own."""
    first = desk.pairing
    desk.again()
    second = desk.pairing
    one = desk.pair("operate")
    assert first.role_of(one) == "operate"
    desk.pairing = first
    desk.shown.clear()
    first.begin()
    other = desk.pair("view")
    for each in (first, second, Pairing(desk.path, lambda role, code: None, desk.clock, desk.today)):
        assert (each.role_of(one), each.role_of(other)) == ("operate", "view")


def test_forget_reaches_a_panel_that_runs(desk: Desk) -> None:
    """Pairings that another process revokes end at once, and do not come back with the next one."""
    token = desk.pair("operate")
    assert desk.pairing.role_of(token) == "operate"
    forget(desk.path)
    assert desk.pairing.role_of(token) is None
    desk.pair("view")
    assert desk.pairing.role_of(token) is None


async def test_a_browser_whose_pairing_ends_is_disconnected(tmp_path: Path) -> None:
    """Its live socket closes with 1008 within seconds, and it gets no other; the player's own stays."""
    async with panel(tmp_path, from_phone=True) as ends:
        cookie = await ends.paired("operate")
        async with ends.live(cookie) as live:
            assert await live.hear() == {"role": "operate"}
            forget(tmp_path / "pairings.json")
            heard = await live.hear()
            while isinstance(heard, dict):
                heard = await live.hear()
            assert heard == 1008
        async with await ends.stream() as stream:
            assert (await ends.upgrade(stream, ends.usual(cookie))).status == 403


def test_the_oldest_pairing_gives_way(desk: Desk) -> None:
    """Sixty-four browsers are remembered; one more replaces the oldest."""
    tokens = [desk.pair("view") for _ in range(65)]
    assert desk.pairing.role_of(tokens[0]) is None
    assert all(desk.pairing.role_of(token) == "view" for token in tokens[1:])


def test_forget_ends_all_pairings(desk: Desk) -> None:
    """After `forget` a panel knows no browser; if there is nothing to forget, nothing happens."""
    token = desk.pair("operate")
    forget(desk.path)
    forget(desk.path)
    desk.again()
    assert desk.pairing.role_of(token) is None


def test_a_state_folder_that_cannot_be_written_costs_only_the_memory(tmp_path: Path) -> None:
    """The pairing is valid until the panel ends."""
    (tmp_path / "file").write_text("")
    desk = Desk(tmp_path / "file")
    assert desk.pairing.role_of(desk.pair("operate")) == "operate"


async def test_the_form_pairs_and_the_cookie_is_strict(tmp_path: Path) -> None:
    """A right code is answered by a redirect to the page and a cookie with HttpOnly, SameSite=Strict and Path=/."""
    async with panel(tmp_path, from_phone=True) as ends:
        paired = await ends.pair(ends.codes["operate"])
        assert (paired.status, paired.one("location")) == (303, "/")
        cookie, *flags = paired.one("set-cookie").split("; ")
        assert cookie.startswith(f"bayleaf-{ends.port}=")
        assert {flag.lower() for flag in flags} == {"httponly", "max-age=2592000", "path=/", "samesite=strict"}


async def test_a_replayed_code_is_refused(tmp_path: Path) -> None:
    """The second use of a code gets the form again, status 403 and no cookie."""
    async with panel(tmp_path, from_phone=True) as ends:
        code = ends.codes["operate"]
        assert (await ends.pair(code)).status == 303
        _is_refused(await ends.pair(code), 403)


@pytest.mark.slow
async def test_a_thousand_tries_over_http(tmp_path: Path) -> None:
    """After five wrong codes the answer is 429 with Retry-After (RFC 6585 section 4), even for the right one."""
    async with panel(tmp_path, from_phone=True) as ends:
        replies = [(await ends.pair(f"WRONG{number:03}")) for number in range(1000)]
        statuses = [each.status for each in replies]
        assert statuses[:5] == [403] * 5
        # one more counts for every twelve seconds that the thousand tries took
        assert statuses.count(429) > 900
        last = await ends.pair("WRONG000")
        while last.status != 429:
            last = await ends.pair("WRONG000")
        assert 1 <= int(last.one("retry-after")) <= 12
        _is_refused(await ends.pair(ends.codes["operate"]), 429)


@pytest.mark.parametrize(
    "body", [b"", b"code=", b"other=1", b"code=%00%ff", b"\xff\xfe", b"code=" + b"A" * 2000, b"&&&&==="]
)
async def test_any_other_form_is_refused(tmp_path: Path, body: bytes) -> None:
    """A form without a code, with an endless one or with noise pairs no browser and breaks nothing."""
    async with panel(tmp_path, from_phone=True) as ends:
        _is_refused(await ends.http("POST", "/pair", body=body), 413 if len(body) > 1000 else 403)


def _is_refused(reply: Answer, status: int) -> None:
    assert reply.status == status
    assert "set-cookie" not in reply.headers
    assert b'<form method="post" action="/pair">' in reply.body
