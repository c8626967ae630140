"""Mutated datagrams, requests on the socket, SysEx and network words: each is given to what receives it in a show."""

import contextlib
import json
import shutil
import socket
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from pythonosc.osc_message_builder import OscMessageBuilder

from engine.cluster.pure.output_lender import ClaimRefused, Grant
from engine.cluster.pure.words import Claim, InputReport, OutputReport, Report, pack, pack_answer, read_answer
from engine.core.commands import RecallScene
from engine.core.control import rig_dump
from engine.core.control.rig_dump import DumpCollector
from engine.instruments import checksums, device_inquiry, dump_handshake
from engine.live.show import Show
from engine.live.socket.osc import OscServer
from engine.midi.byte_stream import StreamParser
from engine.protocol import TABLE
from tests.support.engine_in_memory import EngineInMemory
from tests.support.mutator import Sample
from tests.support.random_remote_messages import valid_messages
from tests.support.small_show import RIG, Bench
from tests.support.standby_world import World

_HERE: Final = "127.0.0.1"
_DEVICE: Final = 5  # of valid_messages
_PEDALS: Final = 1
_ANSWERED: Final = 50  # seconds: the mutation before may keep the worker process busy for 30


class OwnFault(Exception):
    """The engine reports a fault of its own."""


def _raise_faults(show: Show) -> None:
    """From now on a fault of our own is raised where the show would count it and go on."""

    def raised(doing: str, fault: Exception) -> str:
        raise fault

    show.__dict__["own_fault"] = raised


class Datagrams:
    """Datagrams of OSC, from an address that is obeyed."""

    def samples(self) -> list[Sample]:
        plain = [_osc(word) for word in ("next", "back", "first", "panic", "resend", "tap", "state")]
        plain += [
            _osc("scene", 2),
            _osc("scene", "Finale"),
            _osc("scene", 1.0),
            _osc("mute", "pads"),
            _osc("next", True),
        ]
        bundle = b"#bundle\0" + bytes(8) + b"".join(len(each).to_bytes(4) + each for each in plain[:3])
        return [
            Sample("", data) for data in (*plain, bundle, b"#bundle\0" + bytes(8) + len(bundle).to_bytes(4) + bundle)
        ]

    @contextlib.contextmanager
    def taking(self) -> Iterator["Datagrams"]:
        self._bench = Bench(f"{RIG}\n[osc]\nport = 9310\n")
        self._server = OscServer(self._bench.show)
        _raise_faults(self._bench.show)
        yield self

    def take(self, sample: Sample) -> None:
        self._bench.now += 10_000_000
        self._server.take(sample.data, (_HERE, 5000))
        for _ in self._server.take_due():
            pass
        self._bench.events.clear()
        for output in self._bench.outputs.values():
            output.sent.clear()


def _osc(word: str, *values: str | float | bool) -> bytes:
    builder = OscMessageBuilder(address=f"/bayleaf/{word}")
    for value in values:
        builder.add_arg(value)
    return bytes(builder.build().dgram)


class SocketRequests:
    """Lines on the socket of an engine that runs by itself: each is answered, if it is a line, with one of JSON."""

    #: what these need is given, so that their mutations get further than the missing field
    _FIELDS: Final[dict[str, dict[str, Any]]] = {
        "scene": {"scene": 1},
        "entry": {"entry": 1},
        "setlist": {"setlist": "Friday"},
        "clock": {"what": "tempo", "value": 120},
        "timecode": {"what": "locate", "value": "01:00:00:00"},
        "mute": {"route": "pads"},
        "unmute": {"route": "pads"},
        "explain": {"scene": 1, "input": "keys", "message": "90 3C 40"},
        "differences": {"first": 1, "second": 2},
        "keep": {"last_s": 5, "file": "FOLDER/night.jsonl"},
        "restore": {"text": RIG, "where": "here"},
        "audition": {"instrument": "string-machine", "sound": "A"},
        "sysex identify": {"outputs": ["strings"], "seconds": 0},
        "sysex receive": {"input": "keys", "silence": 0, "wait": 0},
        "sysex send": {"output": "strings", "messages": ["F0 7D 01 F7"], "from": 1, "chunk": 64, "gap": 0},
    }
    #: fields that several have
    _USUAL: Final[dict[str, Any]] = {
        "number": 1,
        "new": 9,
        "name": "Nine",
        "scene": 1,
        "from": "keys",
        "to": "brass",
        "route": 0,
        "through": [{"filter": "transpose", "semitones": 2}],
        "burst": [{"instrument": "string-machine", "bank": [0, 3], "program": 12}],
        "control": {"input": "pedals", "when": {"controller": 80}, "do": "next"},
        "instrument": "string-machine",
        "output": "brass",
    }

    def samples(self) -> list[Sample]:
        return [Sample(name, json.dumps(self._request(name)).encode()) for name in TABLE]

    def _request(self, name: str) -> dict[str, Any]:
        do, _, what = name.partition(" ")
        fields = TABLE[name].model.model_fields
        usual = {each.alias or key for key, each in fields.items()} & self._USUAL.keys()
        given = self._FIELDS.get(name) or {key: self._USUAL[key] for key in sorted(usual)}
        return {"do": do, **({"what": what} if what else {}), **given}

    @contextlib.contextmanager
    def taking(self) -> Iterator["SocketRequests"]:
        folder = Path(tempfile.mkdtemp(prefix="bl"))
        self._folder = folder
        self._engine = EngineInMemory(folder)
        self._engine.start(RIG)
        try:
            yield self
        finally:
            self._engine.process.terminate()
            self._engine.process.wait(20)
            shutil.rmtree(folder)

    def take(self, sample: Sample) -> None:
        line = sample.data.replace(b"FOLDER", str(self._folder).encode()).replace(b"\n", b" ")
        if b'"keep"' in line and str(self._folder).encode() not in line:
            return  # it might write anywhere
        answer = self._answer(line)
        if answer is None and line:
            assert self._engine.process.poll() is None, "the engine has ended"
        elif answer and answer.get("code") == "own_fault":
            raise OwnFault(answer["text"] + self._traceback())

    def _answer(self, line: bytes) -> Any:
        """The first line that comes back; None if there is none. The connection is closed then, whatever it does."""
        with socket.socket(socket.AF_UNIX) as talk:
            talk.settimeout(_ANSWERED)
            talk.connect(str(self._folder / "bayleaf" / "bayleaf.sock"))
            with contextlib.suppress(BrokenPipeError, ConnectionResetError):
                talk.sendall(line + b"\n")
                talk.shutdown(socket.SHUT_WR)
                with talk.makefile("rb") as lines:
                    found = lines.readline()
                return json.loads(found) if found else None
        return None

    def _traceback(self) -> str:
        logs = list((self._folder / "state").rglob("*.log"))
        return "".join(log.read_text(errors="replace")[-2000:] for log in logs)


class SysexBlocks:
    """SysEx at an input of `[remote]`: our own, blocks of a backup among it, show control, machine control, dumps."""

    def samples(self) -> list[Sample]:
        text = RIG + "".join(f"# {line * 7919 % 1009:x}\n" for line in range(120))
        ours = [*rig_dump.blocks(text, _DEVICE), *valid_messages()]
        identity = bytes.fromhex("F0 7E 00 06 02 7D 01 00 02 00 01 02 03 04 F7")
        handshakes = [dump_handshake.answer(kind, 1, 2) for kind in (0x7F, 0x7E, 0x7D, 0x7C)]
        packet = bytes.fromhex("F0 7E 00 02 05") + bytes(120) + bytes.fromhex("05 F7")
        return [Sample("", data) for data in (*ours, identity, *handshakes, packet, b"".join(ours[:3]))]

    @contextlib.contextmanager
    def taking(self) -> Iterator["SysexBlocks"]:
        remote = f'\n[remote]\ninputs = ["pedals"]\ndevice = {_DEVICE}\nto = ["brass"]\n'
        self._bench = Bench(f"{RIG}{remote}")
        self._bench.show.apply(RecallScene(1), "shell")
        self._collector = DumpCollector()
        _raise_faults(self._bench.show)
        yield self

    def take(self, sample: Sample) -> None:
        messages = StreamParser().feed(sample.data)
        for message in messages:
            self._bench.play(_PEDALS, message.hex(" "))
            self._collector.take(message)
            device_inquiry.read_reply(message)
            dump_handshake.read_answer(message)
            dump_handshake.packet_number(message)
        checksums.first_damaged(messages)
        with contextlib.suppress(ValueError):
            rig_dump.from_syx(sample.data)
        self._bench.show.engine.reports.requests.clear()
        self._bench.events.clear()
        for output in self._bench.outputs.values():
            output.sent.clear()


class NetworkWords:
    """What machines of the rig publish and ask: two engines and a machine that lends hear it."""

    _EACH: Final = 200  # words for one world: what they have brought about is part of the next one's trial

    def samples(self) -> list[Sample]:
        world, heard = World(), []
        carry = world.net.carry

        def watched(sender: Any, key: str, payload: bytes) -> None:
            heard.append(Sample(key, payload))
            carry(sender, key, payload)

        setattr(world.net, "carry", watched)  # noqa: B010 mypy forbids assigning to a method
        world.play(0, "90 3C 40", "B0 40 7F", "80 3C 40")
        world.run(1200)
        world.kill("desk")
        world.run(500)
        keys = world.owner.keys
        report = Report(epoch=3, inputs={"keys": InputReport(port="Box")}, outputs={"strings": OutputReport(load=0.5)})
        heard += [Sample(keys.meter("left"), pack(report)), Sample(keys.claim("left"), pack(Claim(who="desk")))]
        heard += [Sample(world.owner.keys.command(each, "handover"), b"{}") for each in ("desk", "spare")]
        heard += [Sample("answer", pack_answer(each)) for each in (Grant(3), ClaimRefused("desk"))]
        by_key: dict[str, list[Sample]] = {}
        for each in heard:
            by_key.setdefault(each.to, []).append(each)
        return [each for listed in by_key.values() for each in listed[:6]]

    @contextlib.contextmanager
    def taking(self) -> Iterator["NetworkWords"]:
        self._count = 0
        yield self

    def take(self, sample: Sample) -> None:
        if self._count % self._EACH == 0:
            self._world = World()
            for engine in self._world.engines.values():
                _raise_faults(engine.show)
            self._link = self._world.net.link("left")
        self._count += 1
        if sample.to == "answer":
            with contextlib.suppress(ValueError):
                read_answer(sample.data)
        elif "/claim/" in sample.to or "/cmd/" in sample.to:
            self._link.ask(sample.to, sample.data)
        else:
            self._link.publish(sample.to, sample.data)
        self._world.run(2)
