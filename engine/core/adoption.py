"""An edited rig takes over from the one that plays, in one step, and cuts nothing that still exists.

Inputs and outputs keep their places, so that what is held, moved, waiting or muted needs no translation. A scene that
was not touched plays on as it is, the memories of its filters included.
"""

from engine.core.cable.output_cable import Delivery
from engine.core.control.controls import Switchboard
from engine.core.engine import Engine
from engine.core.routing.compiled_scene import CompiledScene


def take_over(now: int, new: Engine, old: Engine) -> list[Delivery]:
    """`new` goes on where `old` is. What was taken out of the rig is released; a changed burst is sent.

    `new` was made with the names of `old`. A scene that is no longer in the rig plays on until another is recalled.
    """
    new.ledger, new.loops, new.outcomes, new.news = old.ledger, old.loops, old.outcomes, old.news
    new.timetable = old.timetable
    new.leaving = old.leaving
    new.sensing.heard_at, new.sensing.silent = old.sensing.heard_at, old.sensing.silent
    _hand_over_switches(new, old)
    for index, cable in enumerate(old.cables):
        # not where an output's cable is at another machine now
        if (cable.remote is None) == (new.cables[index].remote is None) or old.outputs[index] not in new.rig.outputs:
            cable.change_speed(new.cables[index].speed)
            new.cables[index] = cable
    out: list[Delivery] = []
    for output, message in new.sync.go_on_from(now, old.sync):
        new.cables[output].put(now, (message,), out)
    for source, name in enumerate(old.inputs):
        if name not in new.rig.inputs and name in old.rig.inputs:
            out += new.input_lost(now, source)
    for output, name in enumerate(old.outputs):
        if name in new.rig.outputs:
            new.sensing.outputs.update(old.sensing.outputs & {output})
        elif name in old.rig.outputs:
            out += new.output_left(now, output)
    new.kept_back = old.kept_back
    new.asked, new.muted, new.remote.banks = old.asked, old.muted, old.remote.banks
    new.led_by = old.led_by
    _go_on(now, new, old, out)
    return out


def _hand_over_switches(new: Engine, old: Engine) -> None:
    """A switch that is down stays down, so that its release is not taken for music."""
    for source, before in enumerate(old.boards):
        if before is not None:
            board = new.boards[source] = new.boards[source] or Switchboard()
            board.go_on_from(before)


def _go_on(now: int, new: Engine, old: Engine, out: list[Delivery]) -> None:
    """The scene in force is now the edited one."""
    before = old.plan
    if before is None:
        return
    before.join(len(new.inputs), new.faults)
    number = _number_now(new, old, before)
    if old.standing is not None:
        new.resume(old.standing._replace(scene=before.number if number is None else number))
    if number is None:
        new.plan = before
        new.setlist.stand_before(old.setlist.onwards())
        return
    if _untouched(new, old, before.number):
        new.plans[before.number] = before
    plan = new.plan = new.plans[number]
    plan.mute(frozenset(new.muted))
    new.setlist.move_to(plan.number)
    if plan is not before:
        new.end_later(now, out)
    fed = new.feeds if plan is not before else lambda source, message, _: not new.consumes(source, message)
    for output, message in new.ledger.settle(fed):
        new.cables[output].put(now, (message,), out)
    if plan is before:
        return
    for output, steps in plan.bursts.items():
        if steps != before.bursts.get(output):
            new.ledger.select(output, (message for step in steps for message in step.unit))
            new.cables[output].burst(now, steps, out)


def _number_now(new: Engine, old: Engine, before: CompiledScene) -> int | None:
    """The number of the scene in force in the edited rig, a new one if its name has it; None if it is gone."""
    if before.number in new.plans:
        return before.number
    return next(
        (plan.number for plan in new.plans.values() if plan.name == before.name and plan.number not in old.plans), None
    )


def _untouched(new: Engine, old: Engine, number: int) -> bool:
    rigs = (new.rig, old.rig)
    scene, routes, instruments = ([getattr(rig, key) for rig in rigs] for key in ("scenes", "routes", "instruments"))
    now, then = ([each for each in listed if each.number == number] for listed in scene)
    return now == then and routes[0] == routes[1] and instruments[0] == instruments[1]
