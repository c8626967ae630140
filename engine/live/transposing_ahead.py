"""Makes all scenes ready as the foot has transposed them, beside the music, so that a recall need not."""

from engine.core.routing.scenes_in_play import ScenesInPlay
from engine.live.process.worker_threads import at_ease, in_a_thread
from engine.live.rounds import next_round
from engine.live.show import Show


async def transpose_ahead(show: Show) -> None:
    """Look whether the rig or the step is another one. Runs until cancelled."""
    ready: tuple[ScenesInPlay, set[int]] | None = None
    while True:
        await next_round()
        state = show.engine.state
        wanted = state.scenes, {stack.step for stack in state.stacks.values() if stack.step}
        if wanted != ready and wanted[1]:
            await in_a_thread(_make, *wanted)
        ready = wanted


def _make(scenes: ScenesInPlay, steps: set[int]) -> None:
    for number, transposed in at_ease([each for step in steps for each in scenes.by_step(step)]):
        scenes.at(number, transposed)
