"""A stage to break: an engine, its players and boxes, and a song that plays the whole time."""

import os
import random
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tests.support.engine_process import Engine
from tests.support.jack_ends import MARKER, Box, Player, Song, Synth
from tests.support.jack_stage_rig import BOXES, PLAYERS, PLUGGED_IN, install_brittle, rig, sounds_of
from tests.support.waiting import WITHIN, until

PATIENCE = WITHIN  # seconds within which a stage must have recovered


class Ends:
    """Three players, two boxes, and a song that plays: everything but the engine."""

    def __init__(self, number: int, messages: Sequence[bytes], joins: bool = False, a_second: int = 300) -> None:
        """`joins`: they connect to the engine's own ports, by the rig's names."""
        self.edit = 0
        self.scene = 1
        self.dice = random.Random(number)
        self.piano, self.organ, self.foot = (
            Player(of.format(number), name if joins else None) for name, of in PLAYERS.items()
        )
        self.boxes = [
            Box(of.format(number), name if joins else None) for name, of in zip(("one", "two"), BOXES, strict=True)
        ]
        self.song = Song(messages, (self.piano, self.organ), a_second)
        self._listening = threading.Thread(target=self._listen, daemon=True)
        self._over = threading.Event()
        self._mark = 0
        self._recalls = [(0.0, 1)]  # when (s) each was made, and the scene before it
        self.heed(True)  # what the ports' opening leaves behind is not a fault
        self._listening.start()

    def leave(self) -> None:
        """Close everything here."""
        self.song.end()
        self._over.set()
        self._listening.join()
        for player in (self.piano, self.organ, self.foot):
            player.pull()
        for box in self.boxes:
            box.pull()

    def _listen(self) -> None:
        while not self._over.wait(0.001):
            for box in self.boxes:
                box.listen()

    # What happens on it

    def wait_a_little(self, most: float = 0.3) -> None:
        """The music plays for a random time (s), so that faults strike at random moments."""
        time.sleep(self.dice.uniform(0, most))  # a fault strikes at any moment

    def recall(self, scene: int) -> None:
        """Recall by foot; a foot takes longer from one press to the next than the switch's guard (30 ms)."""
        time.sleep(max(0.0, self._recalls[-1][0] + 0.06 - time.monotonic()))  # as a foot does: nothing to wait for
        self.foot.play(bytes((0xC0, scene - 1)))
        self._recalls.append((time.monotonic(), self.scene))
        self.scene = scene

    def scenes_lately(self, within: float = 1.0) -> set[int]:
        """Where an engine that is stopped now may be: a recall may take this long (s) to reach it and its file."""
        since = time.monotonic() - within
        return {self.scene, *(scene for at, scene in self._recalls if at >= since)}

    def change_scenes(self) -> None:
        """Change the scene not at all, once or twice, with music in between."""
        for _ in range(self.dice.randrange(3)):
            self.recall(self.dice.choice(list(PLUGGED_IN)))
            self.wait_a_little(0.1)

    def grab(self) -> None:
        """Press and move random keys, pedals, bend and wheels, and hold them."""
        for player, channel in ((self.piano, self.dice.choice((0, 2, 4))), (self.organ, self.dice.choice((1, 3)))):
            for key in self.dice.sample(range(30, 90), 4):
                player.play(bytes((0x90 | channel, key, self.dice.randrange(1, 128))))
            moves = [(0xB0, 64, 127), (0xB0, 66, 100), (0xB0, 1, 90), (0xE0, 3, 99), (0xD0, 50)]
            for status, *rest in self.dice.sample(moves, 3):
                player.play(bytes((status | channel, *rest)))

    def heed(self, heeds: bool) -> None:
        """Set whether the boxes heed All Sound Off and All Notes Off from now on."""
        for box in self.boxes:
            box.synth.heeds = heeds

    # What is left

    def residue(self) -> list[str]:
        """What is wrong at either box."""
        found = []
        for box, sounds in zip(self.boxes, sounds_of(self.edit, self.scene), strict=True):
            with box.lock:
                found += [f"{box.name} {what}" for what in box.synth.residue(sounds)]
        return found

    def settle(self) -> list[str]:
        """Wait until everything has arrived and nothing is left; returns what is still left after `PATIENCE`."""
        end = time.monotonic() + PATIENCE
        clean = 0
        while clean < 2 and time.monotonic() < end:
            clean = clean + 1 if self._marker_arrives() and not self.residue() else 0
        if clean == 2:
            return []
        left = self.residue() + [f"{box.name} hears nothing" for box in self.boxes if box.marked != self._mark]
        return left or ["it never kept still"]

    def _marker_arrives(self) -> bool:
        """Whether both boxes hear, within a second, what the foot plays now; so they have heard all before it."""
        self._mark = (self._mark + 1) % 128
        self.foot.play(MARKER + bytes((self._mark,)))
        try:
            until("the marker heard", lambda: all(box.marked == self._mark for box in self.boxes), 1)
        except AssertionError:
            return False
        return True


class JackStage(Ends):
    """One engine with everything around it."""

    def __init__(self, folder: Path, number: int, messages: Sequence[bytes]) -> None:
        super().__init__(number, messages)
        self.number = number
        folder.mkdir()
        self.engine = Engine(folder, rig(number), "--backend", "jack", name=f"pit{number}")
        self.engine.environment["PYTHONPATH"] = str(install_brittle(folder / "plug-ins"))
        self.engine.start()
        self.song.start()

    def close(self) -> None:
        """Close everything here."""
        try:
            self.engine.end()
        except BaseException:
            self.engine.kill()
            raise
        finally:
            self.leave()

    def port(self, direction: str, name: str) -> dict[str, Any]:
        """The status of one port ("inputs" or "outputs"); empty while the engine is away."""
        answer = self.engine.request("status")
        return next((port for port in answer["status"][direction] if port["name"] == name), {}) if answer else {}

    def wait_for_return(self, direction: str, name: str, before: int) -> float:
        """Wait until the port has been opened once more than `before`; returns how long it took (s)."""
        begin = time.monotonic()

        def back() -> bool:
            port = self.port(direction, name)
            return bool(port) and port["returns"] > before and port["state"] == "open"

        until(f"{name} open again", back, PATIENCE)
        return time.monotonic() - begin

    def start_afresh(self) -> None:
        """After a failure: hands really off, and new synths, so that one residue is reported only once.

        JACK may have lost the releases before the engine had them. It would tell the pedal that it takes for held to
        the next box that a scene reaches.
        """
        with self.song.paused():
            for _ in range(2):  # what JACK loses is a whole period
                self.piano.hands_off_again()
                self.organ.hands_off_again()
        for box in self.boxes:
            with box.lock:
                box.synth = Synth()
        self.engine.request("panic")
        self.engine.request("resend")


def faults_wanted(quick: bool) -> int:
    """How often each fault strikes: BAYLEAF_FAULTS times if it is a quick one, a tenth of that if it is slow."""
    wanted = int(os.environ.get("BAYLEAF_FAULTS", "9"))
    return wanted if quick else max(3, wanted // 10)
