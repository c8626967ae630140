"""Modules in one file do what they do apart. Source: ECMAScript's modules, as node runs them."""

import json
import subprocess
from pathlib import Path

import pytest

from engine.panel.page_modules import joined
from tests.support.needed import need

MODULES = {
    "first.js": 'import * as words from "./words.js";\nimport { next as later, steps } from "./steps.js";\n'
    "steps.push(all());\nfunction all() {\nreturn words.said(later());\n}\nconsole.log(JSON.stringify(steps));",
    "steps.js": 'import { said } from "./words.js";\nexport const steps = [said("steps")];\nlet made = 0;\n'
    "export const next = () => (made += 1);",
    "words.js": 'export function said(what) {\nreturn `${what}!`;\n}\nexport class Word {}\nconsole.log("once");',
    "other.js": 'console.log("never");',
}


def _printed(file: Path) -> list[str]:
    done = subprocess.run(["node", file], capture_output=True, text=True, check=True)
    return done.stdout.splitlines()


def test_they_run_once_each_in_the_order_in_which_they_need_each_other(tmp_path: Path) -> None:
    """What modules print in one file is what they print apart; one that nothing needs is not among them."""
    need("node")
    (tmp_path / "package.json").write_text(json.dumps({"type": "module"}), encoding="utf-8")
    for name, text in MODULES.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    text, inside = joined(MODULES, "first.js")
    (tmp_path / "whole.js").write_text(text, encoding="utf-8")
    assert _printed(tmp_path / "whole.js") == _printed(tmp_path / "first.js") == ["once", '["steps!","1!"]']
    assert inside == {"first.js", "steps.js", "words.js"}


@pytest.mark.parametrize(
    ("module", "said"),
    [
        ("export let count = 0;", "words.js: export let"),
        ('import words from "elsewhere";', "words.js: import words"),
        ('import { next } from "./steps.js";', "words.js and steps.js need each other"),
    ],
)
def test_what_would_not_be_the_same_is_an_error(module: str, said: str) -> None:
    """An export that may change, an import of another kind, and two modules that need each other."""
    with pytest.raises(ValueError, match=said):
        joined({**MODULES, "words.js": module}, "first.js")
