"""What a rig may say of keyboards and their keys, and the errors about it. (Our own design; no source.)"""

import pytest

from engine.rig.models.rig import Rig
from engine.rig.read.load import RigError, read

RIG = """format = {format}
[inputs]
pages = {{ keyboard = "Page turner*" }}
keys = {{ port = "Stage piano" }}
[outputs]
strings = {{ port = "Box" }}
[[scenes]]
number = 1
name = "One"
{more}
"""


def rig(more: str, rig_format: int = 2) -> Rig:
    return read(RIG.format(format=rig_format, more=more), "pit.toml")


def problems(more: str, rig_format: int = 2) -> list[str]:
    """What is reported about such a rig."""
    with pytest.raises(RigError) as fault:
        rig(more, rig_format)
    return [f"{found.key}: {found.text}" for found in fault.value.problems]


def control(when: str, source: str = "pages") -> str:
    return f'[[controls]]\ninput = "{source}"\nwhen = {{ {when} }}\ndo = "next"\n'


@pytest.mark.parametrize(
    ("written", "read_as"), [('"PageDown"', "PageDown"), ("109", "PageDown"), ("200", 200), ('"A"', "A"), ('"1"', "1")]
)
def test_keys_have_names_or_numbers(written: str, read_as: str | int) -> None:
    """A key is given by its name; by its number if it has none, or anyway."""
    assert rig(control(f"key = {written}")).controls[0].when.key == read_as


def test_each_kind_of_press_may_have_a_control() -> None:
    """A key may be pressed short, long and twice, like a foot switch; the same condition twice is an error."""
    presses = ["", ', press = "long"', ', press = "double"']
    assert len(rig("".join(control(f'key = "PageDown"{press}') for press in presses)).controls) == 3
    (said,) = problems(control('key = "PageDown"') + control('key = 109, press = "short"'))
    assert said == "controls.2.when: control 1 already has this condition on the same input; keep one of the two"


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (
            control('key = "Pagedown"'),
            'controls.1.when.key: found "Pagedown"; allowed: a key such as "PageDown", or its',
        ),
        (control("key = 256"), "controls.1.when.key: found 256; allowed: a key such as"),
        (control("key = true"), "controls.1.when.key: found true; allowed: a key such as"),
        (
            control('key = "A", channel = 1'),
            "controls.1.when: found a table with key, channel; channel goes with program",
        ),
        (control('key = "A", note = 60'), "controls.1.when: found a table with key, note; give exactly one of program"),
        (control("note = 60"), 'controls.1.when: "pages" is a keyboard; write when = { key = "PageDown" }'),
        (
            control('key = "A"', "keys"),
            'controls.1.when.key: "keys" is not a keyboard; only an input with keyboard has',
        ),
        (
            'routes = [{ from = ["keys", "pages"], to = "strings" }]',
            'scenes.1.routes.1.from.2: "pages" is a keyboard: its',
        ),
        ('[remote]\ninputs = "pages"', 'remote.inputs: "pages" is a keyboard: its keys serve controls only'),
        ('[sync.clock]\nfrom = "pages"\nto = "strings"', 'sync.clock.from: "pages" is a keyboard: its keys serve'),
        ('[inputs.more]\nkeyboard = "Page turner*"', 'inputs.more.keyboard: "more" and "pages" are the same keyboard'),
        (
            '[inputs.more]\nkeyboard = "*turner"',
            'inputs.more.keyboard: found "*turner"; allowed: the name of a keyboard',
        ),
        ('[inputs.more]\nkeyboard = ""', 'inputs.more.keyboard: found ""; allowed: text that is not empty'),
        (
            '[inputs.more]\nkeyboard = "A"\nport = "B"',
            "inputs.more: found a table with keyboard, port; give either port",
        ),
        ('[outputs.more]\nkeyboard = "A"', 'outputs.more.keyboard: unknown key "keyboard"'),
    ],
)
def test_what_makes_no_sense_is_reported(more: str, said: str) -> None:
    """A key that does not exist, keys of what is no keyboard, and keyboards that should play are errors that help."""
    assert any(each.startswith(said) for each in problems(more)), problems(more)


def test_they_need_format_2() -> None:
    """Keyboards and keys are reported in a rig of format 1."""
    text = "this key needs format = 2 in the first line of the file; it says 1"
    assert problems(control('key = "A"'), 1) == [f"inputs.pages.keyboard: {text}", f"controls.1.when.key: {text}"]
