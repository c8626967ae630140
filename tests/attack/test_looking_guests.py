"""Browsers that may only look, all at once, at an engine with 128 scenes: the work that they cause, counted."""

from contextlib import AsyncExitStack
from pathlib import Path
from typing import Any

import pytest
import trio

from engine.core.commands import RecallScene
from engine.live.socket import rig_outline
from engine.live.socket.answer_queue import AnswerQueue
from engine.protocol import Handler, Request
from engine.rig.models.rig import Scene
from engine.rig.rig_as_json import scene_outline
from tests.support.engine_socket import ask, serving
from tests.support.panel_ends import Ends, Live, panel
from tests.support.small_show import RIG, Bench

SCENES = 128
TEXT = RIG + "".join(
    f'[[scenes]]\nnumber = {number}\nname = "Scene {number}"\n'
    f'routes = [{{ from = "keys", to = "strings", through = [{{ filter = "zone", notes = [{number % 60}, 127] }}] }}]\n'
    for number in range(4, SCENES + 1)
)
PAIRINGS, WINDOWS = 4, 4  # as many as may look at once


class CountedWork:
    """What the engine does for those who look."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.outlined: list[int] = []  # numbers of scenes
        self.made: list[str] = []  # requests that took a worker thread
        usual = AnswerQueue.answer

        def outlined(scene: Scene) -> Any:
            self.outlined.append(scene.number)
            return scene_outline(scene)

        async def answer(queue: AnswerQueue, handler: Handler, request: Request, paced: bool) -> bytes:
            self.made.append(type(request).__name__)
            return await usual(queue, handler, request, paced)

        monkeypatch.setattr(rig_outline, "scene_outline", outlined)
        monkeypatch.setattr(AnswerQueue, "answer", answer)

    def forget(self) -> None:
        self.outlined.clear()
        self.made.clear()


async def _look(live: Live, requests: list[dict[str, Any]], got: list[Any]) -> None:
    await live.until(lambda message: "frame" in message)
    for number, request in enumerate(requests):
        got.append(await live.ask(number, **request))


@pytest.mark.slow
async def test_guests_cost_the_engine_as_much_as_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sixteen guests that ask for the rig ten times each cause one answer, and after an edit one small one."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    file = tmp_path / "pit.toml"
    file.write_text(TEXT, encoding="utf-8")
    bench, work = Bench(TEXT), CountedWork(monkeypatch)
    bench.show.apply(RecallScene(1), "shell")
    async with serving(bench, file, TEXT), panel(tmp_path, from_phone=True) as ends:
        cookies = [await ends.paired("view") for _ in range(PAIRINGS)]
        whole = await _all_look(ends, cookies, [{"do": "rig"}] * 10)
        assert work.made == ["RigRequest"]
        assert sorted(work.outlined) == list(range(1, SCENES + 1))
        assert all(each == whole[0] for each in whole)
        work.forget()
        rename = {"do": "scenes", "what": "rename", "number": 77, "name": "Chase"}
        assert (await ask(rename))["done"]
        changed = await _all_look(ends, cookies, [{"do": "rig", "since": whole[0]["revision"]}] * 10)
        assert (work.made, work.outlined) == (["RigRequest"], [77])
        assert all(each == changed[0] for each in changed)
        (scene,) = [each for each in changed[0]["rig"]["scenes"] if not isinstance(each, int)]
        assert (scene["number"], scene["name"]) == (77, "Chase")
        assert len(str(changed[0])) < len(str(whole[0])) / 15


async def _all_look(ends: Ends, cookies: list[str], requests: list[dict[str, Any]]) -> list[Any]:
    """Windows of every pairing ask all of this at once; their answers.

    All are open until the last is answered, for what is known of the engine is forgotten when nobody looks.
    """
    got: list[Any] = []
    async with AsyncExitStack() as windows, trio.open_nursery() as nursery:
        for each in [await windows.enter_async_context(ends.live(cookie)) for cookie in cookies * WINDOWS]:
            nursery.start_soon(_look, each, requests, got)
    assert len(got) == len(cookies) * WINDOWS * len(requests)
    assert all(answer["done"] for answer in got)
    return got
