"""The page's JavaScript: its types are right, and it reads the handbook's Markdown as other programs do.

Sources: TypeScript's checker; CommonMark 0.31.2 and GitHub's tables as the library markdown-it-py reads them.
"""

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from markdown_it import MarkdownIt
from markdown_it.token import Token

from engine import handbook, protocol
from engine.rig.read.load import load
from tests.support.needed import need
from tests.support.paths import PRESETS
from tests.support.whole_outline import outline

PAGE = Path(__file__).parents[2] / "engine" / "panel" / "page"
#: fetched once, into the environment that the tests run in
TYPESCRIPT = "5.9.3"
INSTALLED = Path(sys.prefix) / f"typescript-{TYPESCRIPT}"
CHECKER = INSTALLED / "node_modules" / "typescript" / "bin" / "tsc"


def checker() -> Path:
    """TypeScript's checker, installed by npm if it is not there yet."""
    need("node")
    if CHECKER.exists():
        return CHECKER
    need("npm")
    install = ["npm", "install", "--no-save", "--no-audit", "--no-fund", "--prefix", str(INSTALLED)]
    done = subprocess.run([*install, f"typescript@{TYPESCRIPT}"], capture_output=True, text=True, check=False)
    if done.returncode:
        reason = f"npm could not install typescript {TYPESCRIPT}: {done.stderr.strip()[-300:]}"
        (pytest.fail if os.environ.get("BAYLEAF_NO_SKIP") == "1" else pytest.skip)(reason)
    return CHECKER


@pytest.mark.slow
def test_types_hold() -> None:
    """`tsc --checkJs`, strict, finds no error in the page's modules."""
    done = subprocess.run(
        ["node", checker(), "-p", PAGE / "tsconfig.json"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_types_are_real() -> None:
    """`any` would hide what the checker is for: it occurs in three places, and no error is silenced."""
    text = "\n".join(file.read_text(encoding="utf-8") for file in PAGE.glob("*.js"))
    assert "@ts-" not in text
    assert len(re.findall(r"(?:\{|: )any\b", text)) <= 3


TYPES = (PAGE / "types.d.ts").read_text(encoding="utf-8")


def fields(shape: str) -> set[str]:
    """The field names of a shape that TypeScript writes between braces, with "?" after those that may be missing."""
    flat = re.sub(r"\{.*\}", "", shape)  # nested shapes
    return set(re.findall(r"(\w+\??):", flat))


def interface(name: str) -> set[str]:
    """The fields of an interface in types.d.ts."""
    found = re.search(rf"^interface {name}\b[^{{]*\{{(.*?)\}}$", TYPES, re.MULTILINE | re.DOTALL)
    assert found, name
    return fields(found[1])


def test_the_shapes_of_answers_are_those_of_the_protocol() -> None:
    """The type of each answer in types.d.ts has the fields of the protocol's model."""
    found = re.search(r"^interface Answers \{\n(.*?)^\}", TYPES, re.MULTILINE | re.DOTALL)
    assert found
    shapes = dict(re.findall(r"^  (\w+): \{ (.*) \};$", found[1], re.MULTILINE))
    assert len(shapes) == len(found[1].splitlines())
    for do, shape in shapes.items():
        model: type[protocol.Answer] = getattr(protocol, f"{do.title()}Answer")
        own = {name: field for name, field in model.model_fields.items() if name not in protocol.Answer.model_fields}
        assert fields(shape) == {name if field.is_required() else f"{name}?" for name, field in own.items()}, do
    refusal = {*protocol.Answer.model_fields, "keys?", "words?"}
    assert interface("Refusal") == refusal


def test_the_shape_of_the_rig_is_that_of_its_outline() -> None:
    """The type of the rig in types.d.ts has the fields that the engine sends."""
    rig = outline(load(PRESETS / "demo.toml"))
    assert interface("Rig") == {*rig, "file", "revision"}
    assert interface("Instrument") == set(rig["instruments"][0])
    scene = rig["scenes"][0]
    assert interface("Scene") | interface("SceneName") == set(scene)
    assert interface("Route") == {key for each in rig["scenes"] for route in each["routes"] for key in route}


def test_the_page_asks_only_what_the_protocol_has() -> None:
    """Every request in the page's modules is in the protocol's table, or is the one that the panel itself answers."""
    text = "\n".join(file.read_text(encoding="utf-8") for file in PAGE.glob("*.js"))
    asked = set(re.findall(r"\bdo: \"([a-z ]+)\"", text))
    assert len(asked) > 10
    assert asked <= {*protocol.OF_THE_PANEL, *(key for row in protocol.TABLE for key in (row, row.split(" ")[0]))}


def as_read_by_the_page(texts: list[str]) -> list[list[dict[str, Any]]]:
    """What `blocks` of markdown.js makes of these texts, without line numbers."""
    need("node")
    script = """
        const [module, texts] = JSON.parse(require("fs").readFileSync(0, "utf8"));
        import("data:text/javascript," + encodeURIComponent(module)).then(({ blocks }) =>
          console.log(JSON.stringify(texts.map((text) => blocks(text).map(({ line, ...block }) => block)))));
    """
    asked = json.dumps([(PAGE / "markdown.js").read_text(encoding="utf-8"), texts])
    done = subprocess.run(["node", "-e", script], input=asked, capture_output=True, text=True, check=True)
    found: list[list[dict[str, Any]]] = json.loads(done.stdout)
    return found


def spans(tokens: list[Token]) -> list[dict[str, Any]]:
    """What is within a line, in the form that the page uses."""
    found: list[dict[str, Any]] = []
    inside: list[list[dict[str, Any]]] = [found]
    for token in tokens:
        match token.type:
            case "text" | "softbreak":
                text = token.content if token.type == "text" else " "
                if inside[-1] and inside[-1][-1]["kind"] == "text":
                    inside[-1][-1]["text"] += text
                elif text:
                    inside[-1].append({"kind": "text", "text": text})
            case "code_inline":
                inside[-1].append({"kind": "code", "text": token.content})
            case "strong_open" | "em_open" | "link_open":
                kind = {"strong_open": "bold", "em_open": "italic", "link_open": "link"}[token.type]
                to = {"to": token.attrs["href"]} if kind == "link" else {}
                span: dict[str, Any] = {"kind": kind, "spans": [], **to}
                inside[-1].append(span)
                inside.append(span["spans"])
            case "strong_close" | "em_close" | "link_close":
                inside.pop()
            case other:
                raise AssertionError(f"the page knows no {other}")
    return found


def as_others_read_it(text: str) -> list[dict[str, Any]]:
    """The same texts as read by a CommonMark parser with tables."""
    tokens = MarkdownIt("commonmark").enable("table").parse(text)
    found: list[dict[str, Any]] = []
    within: list[str] = []
    for token in tokens:
        if token.type in ("bullet_list_open", "ordered_list_open"):
            assert "list" not in within, "a list within a list"
            found.append({"kind": "list", "ordered": token.type.startswith("ordered"), "items": []})
            within.append("list")
        elif token.type in ("bullet_list_close", "ordered_list_close", "table_close"):
            within.pop()
        elif token.type == "table_open":
            found.append({"kind": "table", "head": [], "rows": []})
            within.append("table")
        elif token.type == "tr_open":
            found[-1]["rows"].append([])
        elif token.type == "thead_close":
            found[-1]["head"] = found[-1]["rows"].pop()
        elif token.type == "fence":
            found.append({"kind": "code", "language": token.info, "text": token.content.removesuffix("\n")})
        elif token.type == "heading_open":
            found.append({"kind": "heading", "level": int(token.tag[1:])})
        elif token.type == "paragraph_open" and not within:
            found.append({"kind": "paragraph"})
        elif token.type == "inline":
            line = spans(token.children or [])
            if not within:
                found[-1]["spans"] = line
            else:
                (found[-1]["items"] if within == ["list"] else found[-1]["rows"][-1]).append(line)
    return found


def test_the_handbook_reads_as_in_any_other_program() -> None:
    """The page's small reader and a full CommonMark parser read every page of the handbook alike."""
    pages = handbook.pages()
    shown = as_read_by_the_page([page.text for page in pages.values()])
    for topic, blocks in zip(pages, shown, strict=True):
        expected = as_others_read_it(pages[topic].text)
        for one, other in zip(blocks, expected, strict=False):
            assert one == other, topic
        assert len(blocks) == len(expected), topic
