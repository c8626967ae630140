"""A rig that was reached by edits plays like the same rig read at the start: nothing of the former ones stays."""

from typing import Any, Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.cable.program_burst import Bursts
from engine.core.engine import Engine
from engine.core.routing.scenes_in_play import ScenesInPlay
from engine.live.edit.rig_texts import RigParts, packed
from engine.rig.read.load import read
from tests.support.engine_calls import adopt, engine_of, recall
from tests.support.random_rigs import INPUTS, OUTPUTS, STATEFUL, STATELESS, played, route

_SECOND: Final = 1_000_000_000
_INPUTS: Final = {
    name: tuple(f'{name} = {{ port = "{name}"{more} }}' for more in ("", ', stop = ["bank"]', ', through = ["soft"]'))
    for name in INPUTS
}
_OUTPUTS: Final = {
    "strings": ('strings = { port = "d", wire = "din" }', 'strings = { port = "d", running_status = true }'),
    "brass": ('brass = { port = "e" }', 'brass = { port = "e", active_sensing = true }'),
}


_SYNC: Final = (
    "",
    '[sync.clock]\nto = ["brass"]\nbpm = 90\n',
    '[sync.clock]\nto = ["brass", "strings"]\nbpm = 120\n',
    '[sync.timecode]\nfrom = "keys"\nchase = true\n',
)
_REMOTE: Final = ("", '[remote]\ninputs = ["foot"]\n', '[remote]\ninputs = ["keys"]\nto = ["brass"]\ndevice = 5\n')
_SETLISTS: Final = ("", '[[setlists]]\nname = "L"\nscenes = [2, 1]\n', '[[setlists]]\nname = "L"\nscenes = [1]\n')
_SETUP: Final = ("", 'setup = ["controller 7 = 100"]\n', 'setup = ["controller 7 = 90", "go 1"]\n')
_ARRIVING: Final = ("", "drums = true\n", 'through = [{ filter = "velocity", fixed = 9 }]\n', 'through = ["soft"]\n')
_CHAINS: Final = tuple(
    f'[chains]\nsoft = [{{ filter = "velocity", curve = {curve} }}]\nlow = ["soft"{more}]\n'
    for curve, more in ((-20, ""), (-20, ', { filter = "zone", notes = "..B3" }'), (30, ""))
)
_LINES: Final = (
    '{ name = "a", from = "keys", on = "gear0", transpose = -12, through = ["low"] }',
    '{ name = "a", from = "keys", on = "gear0" }',
    '{ from = ["keys", "foot"], on = "gear1", velocity = "64..",'
    ' through = [{ filter = "latch", controllers = [64] }] }',
    '{ from = "foot", on = "gear1", pedal = false }',
)
_SCENE: Final = (
    "tempo = 90\n",
    "transpose = 2\n",
    'enter = [{ on = "gear0", send = ["volume 90", "start"] }]\n',
    'leave = [{ on = "gear1", send = ["go 2", "pan 0"] }]\n',
    "like = 2\n",
)
_lines: Final = st.lists(st.sampled_from(_LINES), max_size=2, unique_by=lambda line: "name" in line or line).map(
    lambda some: f"play = [ {', '.join(some)} ]\n"
)
_routes: Final = st.lists(route(STATELESS + STATEFUL), max_size=2).map(", ".join)


@st.composite
def _gear(draw: st.DrawFn, number: int) -> str:
    """One instrument on its own channel."""
    output, bank = draw(st.sampled_from(OUTPUTS)), draw(st.sampled_from(["msb lsb", "lsb"]))
    return (
        f'[instruments.gear{number}]\noutput = "{output}"\nchannel = {number + 1}\nbank = "{bank}"\n'
        f"programs_from = {draw(st.integers(0, 1))}\n{draw(st.sampled_from(_SETUP))}{draw(st.sampled_from(_ARRIVING))}"
    )


@st.composite
def _control(draw: st.DrawFn) -> str:
    source, number = draw(st.sampled_from(INPUTS)), draw(st.integers(80, 82))
    return f'[[controls]]\ninput = "{source}"\nwhen = {{ controller = {number} }}\ndo = "next"\n'


@st.composite
def _scene(draw: st.DrawFn, number: int) -> str:
    """One scene; its name may be another one's after an edit."""
    steps = draw(st.lists(st.integers(0, 1), max_size=2, unique=True))
    burst = ", ".join(f'{{ instrument = "gear{one}", bank = [3, 4], program = 5 }}' for one in steps)
    at = draw(st.sampled_from(["", 'at = "00:00:01:00"\n']))
    return (
        f'[[scenes]]\nnumber = {number}\nname = "{draw(st.sampled_from("AB"))}{number}"\n{at}'
        f'held = "{draw(st.sampled_from(["ring", "cut"]))}"\nroutes = [ {draw(_routes)} ]\nburst = [ {burst} ]\n'
        + draw(_lines)
        + "".join(draw(st.lists(st.sampled_from(_SCENE[:-1] if number == 2 else _SCENE), max_size=3, unique=True)))
    )


@st.composite
def _sections(draw: st.DrawFn) -> dict[str, str]:
    """The sections of a rig, each of which may be edited by itself."""
    outputs = [draw(st.sampled_from(_OUTPUTS[name])) for name in draw(st.permutations(OUTPUTS))]
    return {
        "routes": f"routes = [ {draw(_routes)} ]\n",
        "inputs": "\n".join(
            ["[inputs]", *(draw(st.sampled_from(_INPUTS[name])) for name in draw(st.permutations(INPUTS))), ""]
        ),
        "outputs": "\n".join(["[outputs]", *outputs, ""]),
        "instruments": "".join(draw(st.permutations([draw(_gear(0)), draw(_gear(1))]))),
        "chains": draw(st.sampled_from(_CHAINS)),
        "sync": draw(st.sampled_from(_SYNC)),
        "remote": draw(st.sampled_from(_REMOTE)),
        "setlists": draw(st.sampled_from(_SETLISTS)),
        "controls": "".join(draw(st.lists(_control(), max_size=2, unique=True))),
        "scenes": "".join(draw(_scene(number)) for number in draw(st.permutations([1, 2]))),
    }


@st.composite
def _chains(draw: st.DrawFn) -> list[str]:
    """The texts of rigs, each made of the one before by an edit of a section or two."""
    now = draw(_sections())
    found = [now]
    for _ in range(draw(st.integers(1, 4))):
        other = draw(_sections())
        changed = draw(st.lists(st.sampled_from(sorted(now)), min_size=1, max_size=2))
        now = {key: (other if key in changed else now)[key] for key in now}
        found.append(now)
    return ["format = 2\n" + "".join(each.values()) for each in found]


def _reached(texts: list[str]) -> Engine:
    """The engine that was given these rigs one after the other, in parts, in its first scene."""
    rig, parts = read(texts[0], "test"), RigParts()
    engine = engine_of(rig)
    recall(engine, 0, 1)
    for text in texts[1:]:
        rig = parts.unpacked(packed(read(text, "test")), rig)
        adopt(engine, 0, rig)
    return engine


def _by_name(engine: Engine) -> dict[str, Any]:
    """All that an engine makes of its rig, without the places of its ports, which an edit does not change."""
    state = engine.state
    compiled, inputs, outputs = state.compiled, engine.inputs, engine.outputs
    clock, code, remote = compiled.sync.clock, compiled.sync.timecode, compiled.remote

    def sent(bursts: Bursts) -> dict[str, Any]:
        return {outputs[to]: steps for to, steps in bursts.items()}

    return {
        "rig": compiled.rig,
        "order": [[*getattr(compiled.rig, key)] for key in ("inputs", "outputs", "instruments")],
        "scenes": [
            (each.number, each.name, each.cuts, each.tempo, *map(sent, (each.bursts, each.entering, each.leaving)))
            for each in compiled.scenes.values()
        ],
        "set-up": {outputs[to]: steps for to, steps in compiled.setups.items()},
        "controls": {name: bool(found) for name, found in zip(inputs, compiled.controls, strict=True)},
        "set lists": compiled.setlists,
        "names": compiled.route_names,
        "sensed": {outputs[to] for to in compiled.sensed},
        "remote": ({inputs[each] for each in remote.inputs}, remote.device, [outputs[to] for to in remote.reply_to]),
        "clock": clock and ([outputs[to] for to in clock.to], clock.bpm),
        "time code": code and (code.source is not None and inputs[code.source], code.rate),
        "cues": compiled.sync.cues,
        "cables": {name: (type(cable), cable.speed) for name, cable in zip(outputs, state.cables, strict=True)},
    }


def _answers(engine: Engine, source: str, message: bytes) -> list[Any]:
    """What each scene makes of a message."""
    scenes, place = ScenesInPlay(engine.state.compiled.scenes), engine.inputs.index(source)
    found = []
    for number in (1, 2):
        answer = scenes.by_number[number].routes.answer(place, message, 0)
        found.append([(engine.outputs[output], unit) for output, unit in answer.units])
    return found


def _recalled(engine: Engine, source: str) -> list[Any]:
    """The scenes after each controller that may be a control."""
    found = []
    for at, number in enumerate((80, 81, 82), 1):
        engine.receive(at * _SECOND, engine.inputs.index(source), bytes((0xB0, number, 127)))
        found.append(engine.scene)
    return found


@pytest.mark.slow
@given(_chains(), st.lists(st.tuples(st.sampled_from(INPUTS), played), min_size=1, max_size=20))
@settings(max_examples=50)
def test_a_rig_reached_by_edits_is_as_if_read_afresh(texts: list[str], stream: list[tuple[str, bytes]]) -> None:
    """Whatever was kept of the rigs before: the same models, bursts, set-up, cables, set lists, clock, answers, and
    scenes that controls recall."""
    now, afresh = _reached(texts), _reached(texts[-1:])
    assert _by_name(now) == _by_name(afresh)
    for source, message in stream:
        assert _answers(now, source, message) == _answers(afresh, source, message)
    for source in INPUTS:
        recall(now, 0, 1)
        recall(afresh, 0, 1)
        assert _recalled(now, source) == _recalled(afresh, source)
