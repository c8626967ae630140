"""Dumps and identity requests in a running show, in virtual time, with an instrument written from the standards."""

from collections.abc import Awaitable
from itertools import pairwise
from typing import Any

import pytest
import trio
import trio.testing

from engine.core.commands import Panic
from tests.support.simulated_instrument import IDENTITY, REQUEST, Instrument
from tests.support.sysex_stand import DUMP, KEYS, ORGAN, RIG, SysexStand, playing


def send(stand: SysexStand, **more: float | int) -> Awaitable[dict[str, Any]]:
    return stand.ask("send", output="organ", messages=[message.hex() for message in DUMP], **more)


async def test_a_dump_that_is_asked_for_arrives_whole(autojump_clock: trio.testing.MockClock) -> None:
    """Request, dump, two seconds of silence; until then the SysEx is not routed, and afterwards it is again."""
    async with playing() as stand:
        stand.instrument.memory = DUMP
        answer = await stand.ask("receive", input="organ", request=REQUEST.hex(), output="organ")
        assert (answer["done"], answer["messages"], stand.received) == (True, len(DUMP), DUMP)
        assert stand.bench.outputs["brass"].sent == []
        stand.bench.reader.put(ORGAN, DUMP[0].hex())
        stand.show.pump()
        assert [message for _, message in stand.bench.outputs["brass"].sent] == [DUMP[0]]


async def test_an_instrument_is_asked_by_its_name(autojump_clock: trio.testing.MockClock) -> None:
    """The rig holds the dump request of an instrument; the answer says what was sent, and where."""
    kept = f'[instruments.organ]\noutput = "organ"\nchannel = 1\nrequest = "{REQUEST.hex()}"\n'
    async with playing(RIG.replace("[[scenes]]", kept + "[[scenes]]")) as stand:
        stand.instrument.memory = DUMP
        answer = await stand.ask("receive", input="organ", instrument="organ")
        assert (answer["done"], stand.received) == (True, DUMP)
        assert (answer["request"], answer["output"]) == (REQUEST.hex(" ").upper(), "organ")


async def test_a_dump_begun_at_the_panel_ends_with_silence(autojump_clock: trio.testing.MockClock) -> None:
    """Pauses shorter than two seconds do not end it."""
    async with playing() as stand, trio.open_nursery() as nursery:

        async def play() -> None:
            for message in DUMP:
                await trio.sleep(1.5)  # a pause in the dump, shorter than the 2 s of silence that end it
                stand.bench.reader.put(ORGAN, "F8", message.hex())

        nursery.start_soon(play)
        answer = await stand.ask("receive", input="organ")
        assert answer["done"]
        assert stand.received == DUMP


async def test_a_silent_instrument_is_reported(autojump_clock: trio.testing.MockClock) -> None:
    """If nothing arrives in time, one sentence names the input, and the request is not done."""
    async with playing() as stand:
        answer = await stand.ask("receive", input="organ", wait=3)
        assert (answer["done"], answer["text"]) == (
            False,
            "nothing came from organ within 3 seconds; nothing was written",
        )


async def test_a_dump_that_is_cut_is_reported(
    autojump_clock: trio.testing.MockClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A dump with a SysEx that the input's parser had to repair is rejected."""
    async with playing() as stand, trio.open_nursery() as nursery:
        mended: dict[int, int] = {}
        monkeypatch.setattr(stand.bench.reader, "repairs", lambda: mended)

        async def play() -> None:
            await trio.sleep(0.5)  # until `receive` waits: only repairs made after that count
            stand.bench.reader.put(ORGAN, DUMP[0].hex())
            mended[ORGAN] = 1

        nursery.start_soon(play)
        answer = await stand.ask("receive", input="organ")
        assert not answer["done"]
        assert "cut in the middle" in answer["text"]


async def test_a_dump_of_which_the_driver_dropped_something_is_rejected(
    autojump_clock: trio.testing.MockClock,
) -> None:
    """Whatever else of it came."""
    async with playing() as stand, trio.open_nursery() as nursery:

        async def play() -> None:
            await trio.sleep(0.5)  # until `receive` waits: only what is lost after that counts
            stand.bench.reader.put(ORGAN, DUMP[0].hex())
            stand.bench.show.ports.in_meters[ORGAN].drop("some may be lost")

        nursery.start_soon(play)
        answer = await stand.ask("receive", input="organ")
        assert not answer["done"]
        assert "part of the dump was lost" in answer["text"]


async def test_an_instrument_slow_as_its_cable_gets_all(autojump_clock: trio.testing.MockClock) -> None:
    """A dump is paced by its cable: an instrument that reads only as fast as the cable drops nothing."""
    async with playing() as stand:
        answer = await send(stand)
        assert answer["done"]
        assert (stand.instrument.taken, stand.instrument.dropped) == (DUMP, 0)


async def test_sending_ends_when_the_last_byte_is_on_the_wire(autojump_clock: trio.testing.MockClock) -> None:
    """Sending takes as long as the cable takes: 320 us a byte (MIDI 1.0 p. 1)."""
    async with playing() as stand:
        begun = trio.current_time()
        await send(stand)
        assert trio.current_time() - begun >= sum(map(len, DUMP)) * 320e-6


async def test_real_time_goes_on_inside_a_dump(autojump_clock: trio.testing.MockClock) -> None:
    """Clocks that arrive while a long message is on the cable are sent meanwhile; none is lost."""
    async with playing() as stand, trio.open_nursery() as nursery:

        async def beat() -> None:
            for _ in range(10):
                await trio.sleep(0.02)  # the time from one clock to the next
                stand.bench.reader.put(KEYS, "F8")

        nursery.start_soon(beat)
        assert (await send(stand))["done"]
        sent = [message for _, message in stand.cable]
        assert sent.count(b"\xf8") == 10
        assert [message for message in sent if message != b"\xf8"] == DUMP
        assert b"\xf8" in sent[: sent.index(DUMP[-1])]


async def test_an_instrument_that_needs_a_rest_gets_it(autojump_clock: trio.testing.MockClock) -> None:
    """With a gap, an instrument half as fast as the cable drops nothing; without one, it does."""
    for gap, dropped in ((0.0, True), (0.3, False)):
        async with playing() as stand:
            stand.instrument = Instrument(swallow_ns=640_000, room=100)
            await send(stand, gap=gap)
            assert bool(stand.instrument.dropped) == dropped


@pytest.mark.parametrize(("more", "rests"), [({}, [1, 2, 3, 4, 5]), ({"chunk": 320}, [3, 4])])
async def test_a_pause_comes_after_each_message_or_each_chunk(
    autojump_clock: trio.testing.MockClock, more: dict[str, int], rests: list[int]
) -> None:
    """With a gap of 300 ms the cable rests after every message; with a chunk of 320 bytes only after the third, by
    which 5 + 304 + 24 have gone, and the fourth, which has 704 (225 ms on the cable)."""
    async with playing() as stand:
        assert (await send(stand, gap=0.3, **more))["done"]
        times = [at for at, _ in stand.cable]
        assert [place for place, (one, next_) in enumerate(pairwise(times), 1) if next_ - one >= 300_000_000] == rests


@pytest.mark.parametrize(("source", "done"), [(None, True), ("organ", True), ("keys", False)])
async def test_an_ack_counts_at_the_input_that_was_named(
    autojump_clock: trio.testing.MockClock, source: str | None, done: bool
) -> None:
    """The instrument answers at the organ's input: that counts if no input or this one was named."""
    async with playing() as stand:
        stand.instrument.script = ["ACK"] * len(DUMP)
        answer = await stand.ask(
            "send", output="organ", messages=[message.hex() for message in DUMP], handshake=True, answers=source
        )
        assert answer["done"] == done
        assert done or "did not answer" in answer["text"]


async def test_the_handshake(autojump_clock: trio.testing.MockClock) -> None:
    """ACK, NAK and WAIT steer the dump; a message that got a NAK is sent again (MIDI 1.0, Sample Dump)."""
    async with playing() as stand:
        stand.instrument.script = ["ACK", "NAK", "ACK", "ACK", "ACK", "ACK", "ACK"]
        assert (await send(stand, handshake=True))["done"]
        assert stand.instrument.taken == DUMP
        assert len(stand.cable) == len(DUMP) + 1


@pytest.mark.parametrize(("script", "said"), [(["ACK", "CANCEL"], "cancelled"), (["ACK"], "did not answer")])
async def test_a_handshake_that_ends_the_dump(
    autojump_clock: trio.testing.MockClock, script: list[str], said: str
) -> None:
    """Cancelled or unanswered, the dump ends and names the message to continue from: the one not acknowledged."""
    async with playing() as stand:
        stand.instrument.script = script
        answer = await send(stand, handshake=True)
        assert not answer["done"]
        assert said in answer["text"]
        assert answer["text"].endswith("--from 2")


async def test_stopped_and_gone_on_with(autojump_clock: trio.testing.MockClock) -> None:
    """A stopped dump ends between two messages; sending from the one it names completes it."""
    async with playing() as stand, trio.open_nursery() as nursery:

        async def tire() -> None:
            await trio.sleep(0.05)  # into the middle of the dump
            stand.stop.set()

        nursery.start_soon(tire)
        answer = await send(stand)
        assert not answer["done"]
        assert "stopped" in answer["text"]
        stand.stop = trio.Event()
        assert (await send(stand, **{"from": int(answer["text"].rpartition(" ")[2])}))["done"]
        assert stand.instrument.taken == DUMP


async def test_a_panic_ends_a_dump_in_words(autojump_clock: trio.testing.MockClock) -> None:
    """A panic discards what is waiting; the answer says so, and which message to continue from."""
    async with playing() as stand, trio.open_nursery() as nursery:

        async def panic() -> None:
            await trio.sleep(0.12)  # into the middle of the dump
            stand.show.apply(Panic(), "shell")

        nursery.start_soon(panic)
        answer = await send(stand)
        assert not answer["done"]
        assert "panic" in answer["text"]
        await trio.sleep(1)  # time enough for the rest to arrive, had the panic not discarded it
        taken = [message for message in stand.instrument.taken if message in DUMP]
        assert taken == DUMP[: int(answer["text"].rpartition(" ")[2]) - 1]


async def test_a_message_that_the_port_cannot_carry_is_refused_before_anything_is_sent(
    autojump_clock: trio.testing.MockClock,
) -> None:
    """If one message is longer than the port allows, the answer is one sentence, and not a byte is sent."""
    async with playing() as stand:
        stand.bench.outputs["organ"].longest = 500
        answer = await send(stand)
        assert not answer["done"]
        assert "message 4 has 704 bytes" in answer["text"]
        assert stand.cable == []


async def test_who_is_there(autojump_clock: trio.testing.MockClock) -> None:
    """Each output is asked separately; the row has the input and the device's identity (MIDI 1.0 p. 40)."""
    async with playing() as stand:
        answer = await stand.ask("identify")
        assert [(row["output"], row["input"], row["text"]) for row in answer["rows"]] == [
            ("organ", "organ", "one device"),
            ("brass", None, "no answer"),
        ]
        assert answer["rows"][0]["identity"]["manufacturer"] == "00 21 09"
        stand.instrument.memory = DUMP
        answer = await stand.ask("receive", input="organ", request=REQUEST.hex(), output="organ")
        assert answer["identity"]["family"] == 1


async def test_crossed_cables(autojump_clock: trio.testing.MockClock) -> None:
    """The question goes out at the organ's output, and the answer arrives at an input that is not the organ's."""
    async with playing() as stand:
        stand.answers_at = KEYS
        (row,) = (await stand.ask("identify", outputs=["organ"]))["rows"]
        assert row["text"].startswith("crossed cables: asked at organ, answered at keys")


async def test_a_cable_that_leads_back_is_reported(autojump_clock: trio.testing.MockClock) -> None:
    """The question itself comes in: the output is connected to that input."""
    async with playing() as stand:
        stand.instrument.hear = lambda at, message: [message] if message[:2] == b"\xf0\x7e" else []
        stand.answers_at = ORGAN
        (row,) = (await stand.ask("identify", outputs=["organ"]))["rows"]
        assert row["text"] == "what goes out at organ comes back at organ"


@pytest.mark.parametrize(
    ("what", "more", "said"),
    [
        ("sing", {}, 'sysex: "what" must be identify, receive or send'),
        ("receive", {"input": "drums"}, 'there is no input "drums"'),
        ("receive", {"input": "organ", "silence": -1}, '"silence" must be a number of seconds from 0 to 3600'),
        ("receive", {"input": "organ", "request": "90", "output": "organ"}, "one whole SysEx"),
        ("receive", {"input": "organ", "instrument": "harp"}, 'there is no instrument "harp"'),
        ("send", {"output": "drums", "messages": ["F07DF7"]}, 'there is no output "drums"'),
        ("send", {"output": "organ", "messages": []}, '"messages" must be a list'),
        ("send", {"output": "organ", "messages": ["F07DF7"], "from": 2}, "the dump has 1 message"),
        ("send", {"output": "organ", "messages": ["F07DF7"], "chunk": 0}, "chunk"),
        ("identify", {"outputs": ["drums"]}, 'there is no output "drums"'),
        ("identify", {"outputs": [["organ"]]}, '"outputs" must be'),
        ("receive", {"input": {}}, '"input" must be'),
        ("receive", {"input": "organ", "instrument": ["organ"]}, '"instrument" must be'),
    ],
)
async def test_a_request_at_fault_is_reported(
    autojump_clock: trio.testing.MockClock, what: str, more: dict[str, Any], said: str
) -> None:
    """One sentence names what is wrong."""
    async with playing() as stand:
        answer = await stand.ask(what, **more)
        assert not answer["done"]
        assert said in answer["text"]


def test_the_reply_that_the_instrument_gives_is_the_standards() -> None:
    """17 bytes with a three-byte manufacturer ID (MIDI 1.0 p. 40)."""
    assert len(IDENTITY) == 17
