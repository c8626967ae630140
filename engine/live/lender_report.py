"""What a machine that lends its ports reports to the engines: counters, queues, held keys, and load of each port."""

from collections import deque
from collections.abc import Callable
from typing import Any, Final

from engine.cluster.endpoints.lender_endpoint import LenderEndpoint
from engine.core.cable.scheduler import Cable
from engine.live.lent_ports import LentPorts
from engine.live.meters import PortMeter

_SPAN: Final = 5  # reports over which the load of a cable is taken


class LenderReport:
    """Loop only."""

    def __init__(self, ports: LentPorts, endpoint: LenderEndpoint, clock: Callable[[], int]) -> None:
        """`clock` is monotonic (ns)."""
        self._ports = ports
        self._endpoint = endpoint
        self._clock = clock
        self._carried: dict[str, deque[tuple[int, int]]] = {}  # when (ns), and what `Cable.carried` was then

    def take(self) -> dict[str, Any]:
        """The report of now, fit for JSON; to be called five times per second."""
        with self._endpoint.lender() as lender:
            cables = dict(lender.cables())
            held = {name: lender.held(name) for name in cables}
            lease = {"epoch": lender.epoch, "holder": lender.holder, "fenced": lender.fenced, "lost": lender.lost}
        return {
            **lease,
            "inputs": self._inputs(),
            "outputs": {
                name: {**self._output(name, cables[name]), "held": held[name]} for name in self._ports.wanted_outputs()
            },
        }

    def _inputs(self) -> dict[str, dict[str, Any]]:
        bank = self._ports.bank
        repairs = bank.reader.repairs()
        return {
            name: {
                **_counted(bank.in_meters[source]),
                "shed": bank.reader.shed(source),
                "repairs": repairs.get(source, 0),
            }
            for source, name in enumerate(bank.inputs)
            if name in self._ports.wanted_inputs()
        }

    def _output(self, name: str, cable: Cable) -> dict[str, Any]:
        bank = self._ports.bank
        output = bank.outputs.index(name)
        return {
            **_counted(bank.out_meters[output]),
            "longest": bank.longest(output),
            "shed": cable.counts.shed,
            "replaced": cable.counts.replaced,
            "waiting": cable.due is not None,
            "load": self._load(name, cable),
        }

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


def _counted(meter: PortMeter) -> dict[str, Any]:
    return {
        "port": meter.port,
        "messages": meter.messages,
        "dropped": meter.dropped,
        "last_error": meter.last_error,
    }
