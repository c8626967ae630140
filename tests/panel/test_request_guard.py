"""No other site can reach the panel, and every answer carries the same strict headers."""

from pathlib import Path

import pytest

from tests.support.panel_ends import HERE, Headers, panel

#: Content Security Policy Level 3; Trusted Types (W3C)
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types 'none'"
)
FOREIGN_HOSTS = [
    "evil.example",
    "evil.example:{port}",
    "127.0.0.1",
    "127.0.0.1:1",
    "127.0.0.1:{port}.evil.example",
    "127.0.0.2:{port}",
    "localhost.evil.example:{port}",
    "[::1]:{port}",
    "127.0.0.1:{port}:{port}",
    "",
]
FOREIGN_ORIGINS = [
    "http://evil.example",
    "http://127.0.0.1",
    "http://127.0.0.1:1",
    "https://127.0.0.1:{port}",
    "http://localhost:{port}",
    "http://127.0.0.1:{port}.evil.example",
    "null",
    "",
]


@pytest.mark.parametrize("host", FOREIGN_HOSTS)
async def test_a_foreign_host_is_refused(tmp_path: Path, host: str) -> None:
    """A request or socket for a name that is not this machine's gets status 403 and nothing else (DNS rebinding)."""
    async with panel(tmp_path) as ends:
        named = host.format(port=ends.port)
        for path in ("/", "/page/pair.css", "/nowhere"):
            reply = await ends.http("GET", path, [("Host", named)])
            assert reply.status == 403
            assert b"not reached by that name" in reply.body
        headers: Headers = [("Host", named), ("Origin", f"http://{named}")]
        async with await ends.stream() as stream:
            assert (await ends.upgrade(stream, headers)).status == 403


async def test_this_machines_own_names_are_taken(tmp_path: Path) -> None:
    """The machine's address, "localhost" from the machine itself, and its known names open the page's files."""
    async with panel(tmp_path) as ends:
        for name in ("127.0.0.1", "localhost", "LOCALHOST", "laptop.local"):
            assert (await ends.http("GET", "/page/pair.css", [("Host", f"{name}:{ends.port}")])).status == 200
    async with panel(tmp_path, from_phone=True) as ends:
        for name, status in ((HERE, 200), ("laptop.local", 200), ("localhost", 403), ("127.0.0.1", 403)):
            assert (await ends.http("GET", "/page/pair.css", [("Host", f"{name}:{ends.port}")])).status == status


async def test_on_this_machine_only_localhost_and_addresses_are_the_player(tmp_path: Path) -> None:
    """By the machine's name a browser on it gets the form and no socket: a stranger on the network can answer for that
    name, so a page of theirs may bear it."""
    async with panel(tmp_path) as ends:
        for name, page, socket in (("laptop.local", 403, 403), ("localhost", 200, 101), ("127.0.0.1", 200, 101)):
            host = f"{name}:{ends.port}"
            assert (await ends.http("GET", "/", [("Host", host)])).status == page
            async with await ends.stream() as stream:
                assert (await ends.upgrade(stream, [("Host", host), ("Origin", f"http://{host}")])).status == socket


async def test_a_browser_that_names_this_machine_may_pair(tmp_path: Path) -> None:
    """On the machine itself the known names pair as on any other machine."""
    async with panel(tmp_path) as ends:
        own = ends.by("laptop.local")
        async with own.live(await own.paired("view")) as live:
            assert await live.hear() == {"role": "view"}


@pytest.mark.parametrize("origin", FOREIGN_ORIGINS)
async def test_a_foreign_origin_is_refused(tmp_path: Path, origin: str) -> None:
    """A socket or form from another site's page is rejected with status 403 (RFC 6455 section 10.2)."""
    async with panel(tmp_path) as ends:
        headers = [("Host", ends.host), ("Origin", origin.format(port=ends.port))]
        async with await ends.stream() as stream:
            assert (await ends.upgrade(stream, headers)).status == 403
        for method, path in (("GET", "/"), ("POST", "/pair")):
            assert (await ends.http(method, path, headers)).status == 403


async def test_a_socket_or_form_without_an_origin_is_refused(tmp_path: Path) -> None:
    """Browsers send an Origin with sockets and forms (Fetch standard); without one, or with two, the answer is 403."""
    async with panel(tmp_path) as ends:
        for origins in ([], [("Origin", f"http://{ends.host}")] * 2):
            headers = [("Host", ends.host), *origins]
            async with await ends.stream() as stream:
                assert (await ends.upgrade(stream, headers)).status == 403
            assert (await ends.http("POST", "/pair", headers)).status == 403


async def test_every_answer_carries_the_headers(tmp_path: Path) -> None:
    """Page, form, files, refusals and errors all carry the exact policy, nosniff and the rest, once each."""
    async with panel(tmp_path, from_phone=True) as ends:
        answers = [
            await ends.http("GET", "/"),
            await ends.http("GET", "/page/pair.css"),
            await ends.http("GET", "/nowhere"),
            await ends.http("DELETE", "/"),
            await ends.http("GET", "/", [("Host", "evil.example")]),
            await ends.pair("nonsense"),
            await ends.pair(ends.codes["view"]),
        ]
        assert [reply.status for reply in answers] == [403, 200, 404, 405, 403, 403, 303]
        for reply in answers:
            assert reply.one("content-security-policy") == POLICY
            assert reply.one("x-content-type-options") == "nosniff"
            assert reply.one("referrer-policy") == "same-origin"
            assert reply.one("cross-origin-resource-policy") == "same-origin"
            assert "server" not in reply.headers
            assert "access-control-allow-origin" not in reply.headers
