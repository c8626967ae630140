"""The files of the page as served, read once: its own without comments and indents, and the handbook as JSON."""

import gzip
import hashlib
import json
import re
from importlib.resources import files
from typing import Final, NamedTuple

from starlette.requests import Request
from starlette.responses import Response

from engine import handbook
from engine.panel.page_modules import joined

_KINDS: Final = {
    "html": "text/html; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "webmanifest": "application/manifest+json",
}
_MAIN: Final = "main.js"
_LONG: Final = r"/\*(?:(?!\*/).)*\*/"
#: what is for those who read the source: comments with their lines, comments within lines, indents and empty lines
_FOR_READERS: Final = {
    "js": re.compile(rf"^ *(?:{_LONG}|//[^\n]*)\n|{_LONG} ?|^\s+", re.DOTALL | re.MULTILINE),
    "css": re.compile(rf"^ *{_LONG}\n|^\s+", re.DOTALL | re.MULTILINE),
}


class PageFile(NamedTuple):
    """A file as it is served."""

    kind: str
    body: bytes
    packed: bytes
    tag: str

    @classmethod
    def of(cls, kind: str, body: bytes) -> "PageFile":
        """From its content type and its bytes."""
        return cls(kind, body, gzip.compress(body, mtime=0), f'"{hashlib.sha256(body).hexdigest()[:32]}"')


def page_files() -> dict[str, PageFile]:
    """All files by name; other kinds than a page needs are left out, and modules that are in the main one."""
    texts = {}
    for file in files("engine.panel").joinpath("page").iterdir():
        ending = file.name.rpartition(".")[2]
        if ending in _KINDS:
            text = file.read_text(encoding="utf-8")
            texts[file.name] = _FOR_READERS[ending].sub("", text) if ending in _FOR_READERS else text
    texts[_MAIN], inside = joined(texts, _MAIN)
    found = {
        name: PageFile.of(_KINDS[name.rpartition(".")[2]], text.encode())
        for name, text in texts.items()
        if name == _MAIN or name not in inside
    }
    pages = [page._asdict() for page in handbook.pages().values()]
    found["handbook.json"] = PageFile.of("application/json", json.dumps(pages, ensure_ascii=False).encode())
    return found


def answer(request: Request, file: PageFile, status: int = 200) -> Response:
    """The file, compressed if the browser can read that, or 304 if the browser's own copy is current."""
    headers = {"cache-control": "no-cache", "etag": file.tag, "vary": "accept-encoding"}
    if status == 200 and request.headers.get("if-none-match") == file.tag:
        return Response(status_code=304, headers=headers)
    body = file.body
    if "gzip" in request.headers.get("accept-encoding", ""):
        body, headers["content-encoding"] = file.packed, "gzip"
    return Response(body, status, {**headers, "content-type": file.kind})
