"""What is wrong at the moment, in sentences for the player; an empty list if all is well."""

from collections.abc import Iterable, Sequence
from typing import Final

from engine.fault_log import faults
from engine.live.cable_load import CableLoad
from engine.live.meters import PortMeter
from engine.live.show import Show
from engine.plurals import counted, times

_FULL: Final = 0.95  # share of a cable over a second from which on messages wait
_REASONS: Final = 2  # up to this many reasons are given; with more, only the names


def health(show: Show, load: CableLoad) -> list[str]:
    """The worst first. Loop only."""
    return [
        *_missing(show),
        *_stuck(show),
        *_silent(show),
        *_loops(show),
        *_floods(show, load),
        *_cables(show, load),
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
            f"{show.inputs[source]} is muted towards {show.outputs[output]}: what is sent there comes back in; "
            "unplug the cable that leads back, or change the scene"
        )


def _floods(show: Show, load: CableLoad) -> Iterable[str]:
    for name, count in zip(show.inputs, load.shed_in, strict=False):
        if count:
            yield f"input {name} sends more than can be played: {_dropped(count)} in the last minute"


def _cables(show: Show, load: CableLoad) -> Iterable[str]:
    for name, share, count in zip(show.outputs, load.loads, load.shed_out, strict=False):
        if count:
            yield f"output {name} gets more than its cable carries: {_dropped(count)} in the last minute"
        elif share is not None and share >= _FULL:
            yield f"the cable of output {name} is full; notes there are late"


def _rig_file(show: Show) -> Iterable[str]:
    if show.refused is not None:
        first, *others = show.refused.splitlines()
        more = f" (and {len(others)} more)" if others else ""
        yield f"the rig file was changed but cannot be played: {first}{more}"


def _faults(show: Show) -> Iterable[str]:
    failed = show.engine.state.faults
    for name, count in failed.counts.items():
        yield f"the filter {name} failed {times(count)} and was stepped over: {failed.first[name]}"
    if show.own_faults:
        yield f"Bayleaf itself failed {times(show.own_faults)} and continued; please report it{faults.details}"


def _listed(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _dropped(count: int) -> str:
    return f"{counted(count, 'message')} {'was' if count == 1 else 'were'} dropped"
