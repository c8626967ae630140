"""What a machine that lends its ports reports to the engines: counters, queues, held keys, and load of each port."""

from collections import deque
from collections.abc import Callable
from typing import Final

from engine.cluster.endpoints.lender_endpoint import LenderEndpoint
from engine.cluster.pure.words import InputReport, LenderFaults, OutputReport, Report
from engine.core.cable.scheduler import Cable
from engine.live.lent_ports import LentPorts

_SPAN: Final = 5  # reports over which the load of a cable is taken
_LONGEST: Final = 200  # characters of an error; that of a missing port names every port there is


class LenderReport:
    """Loop only."""

    def __init__(self, ports: LentPorts, endpoint: LenderEndpoint, clock: Callable[[], int]) -> None:
        """`clock` is monotonic (ns)."""
        self._ports = ports
        self._endpoint = endpoint
        self._clock = clock
        self._carried: dict[str, deque[tuple[int, int]]] = {}  # when (ns), and what `Cable.carried` was then

    def take(self, faults: LenderFaults) -> Report:
        """The report of now, with these faults; to be called five times per second."""
        with self._endpoint.lender() as lender:
            cables = dict(lender.cables())
            held = {name: lender.held(name) for name in cables}
            epoch, holder, fenced, lost = lender.epoch, lender.holder, lender.fenced, lender.lost
        outputs = {name: self._output(name, cables[name], held[name]) for name in self._ports.wanted_outputs()}
        return Report(
            epoch=epoch,
            holder=holder,
            fenced=fenced,
            lost=lost,
            faults=faults,
            inputs=self._inputs(),
            outputs=outputs,
        )

    def _inputs(self) -> dict[str, InputReport]:
        bank = self._ports.bank
        repairs = bank.reader.repairs()
        return {
            name: InputReport(
                port=bank.in_meters[source].port,
                messages=bank.in_meters[source].messages,
                dropped=bank.in_meters[source].dropped,
                last_error=_shortened(bank.in_meters[source].last_error),
                shed=bank.reader.shed(source),
                repairs=repairs.get(source, 0),
            )
            for source, name in enumerate(bank.inputs)
            if name in self._ports.wanted_inputs()
        }

    def _output(self, name: str, cable: Cable, held: int) -> OutputReport:
        bank = self._ports.bank
        output = bank.outputs.index(name)
        meter = bank.out_meters[output]
        return OutputReport(
            port=meter.port,
            messages=meter.messages,
            dropped=meter.dropped,
            last_error=_shortened(meter.last_error),
            longest=bank.longest(output),
            shed=cable.counts.shed,
            replaced=cable.counts.replaced,
            waiting=cable.due is not None,
            load=self._load(name, cable),
            held=held,
        )

    def _load(self, name: str, cable: Cable) -> float:
        """The share of the last second in which a paced cable was busy."""
        now = self._clock()
        carried = cable.carried(now)
        kept = self._carried.setdefault(name, deque(maxlen=_SPAN + 1))
        if kept and kept[-1][1] > carried:  # it was pulled, and its cable is a new one
            kept.clear()
        kept.append((now, carried))
        time = now - kept[0][0]
        return round(min(1.0, (carried - kept[0][1]) / time), 2) if time else 0.0


def _shortened(error: str | None) -> str | None:
    return error if error is None or len(error) <= _LONGEST else f"{error[: _LONGEST - 1]}…"
