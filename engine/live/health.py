"""What is wrong at the moment, in sentences for the player; none if all is well."""

from collections.abc import Iterable, Sequence
from typing import Final

from engine.fault_log import faults
from engine.live.cable_load import CableLoad
from engine.live.meters import PortMeter
from engine.live.show import Show
from engine.plurals import counted, times

_FULL: Final = 0.95  # of a cable, over a second: what comes then waits
_REASONS: Final = 2  # so many are told one by one; of more the names must do


def health(show: Show, gauge: CableLoad) -> list[str]:
    """The worst first. Loop only."""
    return [
        *_missing(show),
        *_stuck(show),
        *_silent(show),
        *_loops(show),
        *_floods(show, gauge),
        *_cables(show, gauge),
        *_rig_file(show),
        *_faults(show),
    ]


def _missing(show: Show) -> Iterable[str]:
    inputs, outputs = show.ports.missing()
    yield from _away("input", inputs, show.inputs, show.ports.in_meters)
    yield from _away("output", outputs, show.outputs, show.ports.out_meters)


def _away(what: str, missing: Sequence[int], names: Sequence[str], meters: Sequence[PortMeter]) -> Iterable[str]:
    reasons: dict[str, list[str]] = {}
    for index in missing:
        reasons.setdefault(meters[index].last_error or "", []).append(names[index])
    if len(reasons) > _REASONS:
        reasons = {"": [name for listed in reasons.values() for name in listed]}
    for reason, listed in reasons.items():
        who = f"{what} {listed[0]} is" if len(listed) == 1 else f"the {what}s {_listed(listed)} are"
        yield f"{who} missing: {reason}" if reason else f"{who} missing"


def _stuck(show: Show) -> Iterable[str]:
    for output in show.ports.stuck():
        yield f"output {show.outputs[output]} takes no messages: {show.ports.out_meters[output].last_error}"


def _silent(show: Show) -> Iterable[str]:
    for source in sorted(show.engine.state.sensing.silent):
        yield f"input {show.inputs[source]} fell silent (no active sensing); what it held was released"


def _loops(show: Show) -> Iterable[str]:
    for source, output in sorted(show.engine.state.loops.muted):
        yield (
            f"{show.inputs[source]} does not reach {show.outputs[output]}, for what goes out there comes in again; "
            "pull the cable that leads back, or change the scene"
        )


def _floods(show: Show, gauge: CableLoad) -> Iterable[str]:
    for name, count in zip(show.inputs, gauge.shed_in, strict=False):
        if count:
            yield f"input {name} sends more than can be played: {_left_out(count)} in the last minute"


def _cables(show: Show, gauge: CableLoad) -> Iterable[str]:
    for name, load, count in zip(show.outputs, gauge.loads, gauge.shed_out, strict=False):
        if count:
            yield f"output {name} gets more than its cable carries: {_left_out(count)} in the last minute"
        elif load is not None and load >= _FULL:
            yield f"the cable of output {name} is full; what is played there comes late"


def _rig_file(show: Show) -> Iterable[str]:
    if show.refused is not None:
        first, *others = show.refused.splitlines()
        more = f" (and {len(others)} more)" if others else ""
        yield f"the rig file was changed and is not played: {first}{more}"


def _faults(show: Show) -> Iterable[str]:
    failed = show.engine.state.faults
    for name, count in failed.counts.items():
        yield f"the filter {name} failed {times(count)} and was stepped over: {failed.first[name]}"
    if show.own_faults:
        yield f"Bayleaf itself failed {times(show.own_faults)} and went on; please report it{faults.details}"


def _listed(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _left_out(count: int) -> str:
    return f"{counted(count, 'message')} {'was' if count == 1 else 'were'} left out"
