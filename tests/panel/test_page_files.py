"""Which files of the page are served, and what an unpaired browser gets."""

import gzip
import re
from pathlib import Path

import pytest

from engine.panel.page_files import page_files
from tests.support.panel_ends import Engine, panel

PAGE = Path(__file__).parents[2] / "engine" / "panel" / "page"
MOST = 150_000  # bytes transferred, in all


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))


def test_the_page_is_small() -> None:
    """All files of the page together are under 150 kB as transferred."""
    assert 0 < sum(len(file.packed) for file in page_files().values()) < MOST


def test_only_comments_and_indents_are_left_out_of_what_is_served() -> None:
    """What a browser gets of a module are its own lines in their order, without comments, indents and empty lines; its
    imports and exports aside, which say the same in one file. No string has what looks like a comment, and no template
    goes on in the next line."""
    whole = page_files()["main.js"].body.decode()
    for file in PAGE.glob("*.js"):
        _, begin, rest = whole.partition(f'modules["{file.name}"] = (() => {{\n')
        own = rest.partition('\n})();\nmodules["')[0].removesuffix("\n})();").rpartition("\nreturn {")[0]
        served, inside = iter((own if begin else page_files()[file.name].body.decode()).splitlines()), False
        for line in file.read_text(encoding="utf-8").splitlines():
            code, rest = "", line.strip()
            while rest:
                before, mark, after = rest.partition("*/" if inside else "/*")
                code += "" if inside else before if mark else rest
                inside ^= mark != ""
                rest = (after if inside else after.removeprefix(" ")) if mark else ""
            if code and not code.startswith("//"):
                there = next(served)
                looked_up = there.startswith("const ") and '= modules["' in there
                assert looked_up if code.startswith("import ") else there in (code, code.removeprefix("export ")), code
                assert code.count("`") % 2 == 0 or "```" in code or "/`" in code, code
        assert next(served, None) is None, file.name


def test_no_file_has_inline_code_or_asks_another_host() -> None:
    """HTML has no inline script or style and no handler attribute; the only foreign addresses are XML's name spaces."""
    for name, file in page_files().items():
        text = file.body.decode()
        if name.endswith(".html"):
            assert not re.search(r"<script(?![^>]*\ssrc=)|<style|\sstyle=|\son[a-z]+=|javascript:", text), name
        assert not re.search(r"(?:https?:)?//(?!www\.w3\.org/)[a-z0-9-]+\.[a-z]{2,}", text), name


async def test_an_unpaired_browser_gets_the_form_and_nothing_of_the_rig(tmp_path: Path) -> None:
    """Without a valid cookie the page is a form, the socket is rejected, and the engine is not asked."""
    engine = Engine()
    async with engine.playing(), panel(tmp_path, from_phone=True) as ends:
        for cookie in (None, f"bayleaf-{ends.port}=", f"bayleaf-{ends.port}=guess", "bayleaf-1=x; other=y"):
            reply = await ends.http("GET", "/", [("Host", ends.host), *([("Cookie", cookie)] if cookie else [])])
            assert reply.status == 403
            assert b'<form method="post" action="/pair">' in reply.body
            assert b"Overture" not in reply.body
            assert ends.host.encode() not in reply.body
            async with await ends.stream() as stream:
                assert (await ends.upgrade(stream, ends.usual(cookie))).status == 403
        assert engine.asked == []


@pytest.mark.parametrize(
    "path",
    [
        "/page/",
        "/page/app.py",
        "/page/../app.py",
        "/page/..%2Fapp.py",
        "/page/%2e%2e/app.py",
        "/page//etc/passwd",
        "/page/pair.css/",
        "/page/pair.css%00",
        "/live",
        "/pair",
        "//",
    ],
)
async def test_nothing_but_the_page_is_served(tmp_path: Path, path: str) -> None:
    """Other paths, and paths that lead out of the folder, are not found."""
    async with panel(tmp_path) as ends:
        assert (await ends.http("GET", path)).status in (400, 404, 405)


async def test_files_are_packed_and_kept_by_the_browser(tmp_path: Path) -> None:
    """A browser that accepts gzip gets it; one that already has the file gets status 304 and no body."""
    async with panel(tmp_path) as ends:
        own = [("Host", ends.host)]
        plain = await ends.http("GET", "/page/pair.css", own)
        packed = await ends.http("GET", "/page/pair.css", [*own, ("Accept-Encoding", "gzip, br")])
        assert packed.one("content-encoding") == "gzip"
        assert gzip.decompress(packed.body) == plain.body
        kept = await ends.http("GET", "/page/pair.css", [*own, ("If-None-Match", plain.one("etag"))])
        assert (kept.status, kept.body) == (304, b"")
        assert plain.one("content-type") == "text/css; charset=utf-8"
