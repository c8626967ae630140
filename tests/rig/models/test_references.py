"""The marks of the models: every name in a rig that refers to something is found, and a dangling one is reported.

The sections and keys are those of the handbook's pages on the rig file. (Our own design; no source.)
"""

import re
import tomllib
from typing import Any

import pytest

from engine.rig.models.marks import Keys
from engine.rig.models.references import references
from engine.rig.models.rig import Rig
from engine.rig.read.load import RigError, read

RIG = """
format = 1
[rig]
start = "scenes:One"
[network]
machine = "machines:desk"
main = "machines:desk"
standby = "machines:spare"
[network.machines]
desk = { listen = "127.0.0.1:7410" }
spare = { listen = "127.0.0.1:7411", dial = ["machines:desk"] }
box = { listen = "127.0.0.1:7412" }
[inputs]
keys = { port = "Keys*", machine = "machines:box" }
pads = { port = "Pads*" }
[outputs]
strings = { port = "Strings*", machine = "machines:box" }
[instruments.string-machine]
output = "outputs:strings"
channel = 1
[[routes]]
name = "left"
from = "inputs:keys"
to = ["outputs:strings"]
[[scenes]]
number = 1
name = "One"
routes = [ { from = ["inputs:keys", "inputs:pads"], to = "outputs:strings" } ]
burst = [
  { instrument = "instruments:string-machine", program = 1 },
  { output = "outputs:strings", channel = 2, program = 1 },
]
[[setlists]]
name = "Friday"
scenes = ["scenes:One"]
[[controls]]
input = "inputs:pads"
when = { program = 1 }
do = "scene"
scene = "scenes:One"
scenes = ["scenes:One"]
[[controls]]
input = "inputs:pads"
when = { program = 2 }
do = "mute"
route = "routes:left"
[[controls]]
input = "inputs:pads"
when = { program = 3 }
do = "send"
output = "outputs:strings"
messages = ["F8"]
[sync.clock]
from = ["inputs:pads", "internal"]
to = "outputs:strings"
[sync.timecode]
from = "inputs:pads"
to = ["outputs:strings"]
[remote]
inputs = "inputs:pads"
to = "outputs:strings"
"""
MARK = re.compile(r'"(inputs|outputs|instruments|routes|scenes|machines):([^"]*)"')
PLAIN = MARK.sub(r'"\2"', RIG)


def _marked(part: Any, keys: Keys = ()) -> dict[Keys, tuple[str, str]]:
    """The places of the texts above that are marked as names, with section and name."""
    if isinstance(part, str):
        section, colon, name = part.partition(":")
        return {keys: (section, name)} if colon and MARK.fullmatch(f'"{part}"') else {}
    inner = part.items() if isinstance(part, dict) else enumerate(part) if isinstance(part, list) else ()
    found: dict[Keys, tuple[str, str]] = {}
    for key, value in inner:
        found |= _marked(value, (*keys, key))
    return found


def test_every_name_is_found() -> None:
    """The walker finds exactly the names that refer to something, with the section they refer to."""
    found = {keys: (mark.section, name) for keys, mark, name in references(tomllib.loads(PLAIN), Rig)}
    assert found == _marked(tomllib.loads(RIG))


def test_a_model_has_the_same_names() -> None:
    """In the rig as models each name refers to the same section; a single name in a list field is a list of one."""
    in_text = sorted((mark.section, str(name)) for _, mark, name in references(tomllib.loads(PLAIN), Rig))
    in_models = sorted((mark.section, str(name)) for _, mark, name in references(read(PLAIN, "it.toml"), Rig))
    assert in_models == in_text


@pytest.mark.parametrize("place", range(len(MARK.findall(RIG))))
def test_a_name_that_leads_nowhere_is_reported(place: int) -> None:
    """Each name, if misspelt, is one problem on its own line that lists the existing names."""
    mark = list(MARK.finditer(RIG))[place]
    broken = MARK.sub(r'"\2"', RIG[: mark.start()]) + '"nowhere"' + MARK.sub(r'"\2"', RIG[mark.end() :])
    with pytest.raises(RigError) as caught:
        read(broken, "it.toml")
    line = RIG.count("\n", 0, mark.start()) + 1
    what = mark[1].removesuffix("s")
    reported = [problem for problem in caught.value.problems if f'there is no {what} "nowhere"' in problem.text]
    assert [problem.line for problem in reported] == [line]
    assert mark[2] in reported[0].text


def test_a_word_that_is_not_a_name_is_offered() -> None:
    """Where "internal" or "last" is allowed instead of a name, the error says so, and neither counts as a name."""
    for name, word in (('from = "pads"', "internal"), ('start = "One"', "last")):
        key = name.partition(" ")[0]
        with pytest.raises(RigError, match=f'there are: .*, or "{word}"'):
            read(PLAIN.replace(name, f'{key} = "nowhere"'), "it.toml")
        read(PLAIN.replace(name, f'{key} = "{word}"'), "it.toml")
