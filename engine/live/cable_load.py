"""Measures how full each output's cable is, and what was dropped, over the last second and the last minute."""

from collections import deque
from typing import Final

from engine.live.rounds import next_round
from engine.live.show import Show

_SECOND: Final = 1_000_000_000  # ns
_SPAN: Final = 5 * _SECOND  # the parts into which the last minute is divided
_SPANS: Final = 12

_Shares = list[float | None]
_Counts = tuple[list[int], list[int]]
_Readings = tuple[list[int], list[bool], _Counts]  # what each cable has carried, whether it is paced, what was dropped


class CableLoad:
    """Loop only. Ports are indices. `loads` and `peaks` are shares of what the cable can carry, None for an output that
    is not paced."""

    def __init__(self, show: Show) -> None:
        self.looks = 0  # grows with each look
        self.loads: _Shares = []  # over the last second
        self.peaks: _Shares = []  # the worst second of the last minute
        self.shed_in: list[int] = []  # messages dropped in the last minute
        self.shed_out: list[int] = []
        self._show = show
        self._carried: deque[tuple[int, list[int]]] = deque()  # when, and each `Cable.carried`; over a second
        self._worst: deque[list[float]] = deque([[]], _SPANS)  # in each span, the present one last
        self._kept: list[float] = []  # the worst in all spans but the present one
        self._shed: deque[_Counts] = deque([_shed(show)], _SPANS)  # as each span began
        self._span_ends = show.clock() + _SPAN
        self._readings: _Readings | None = None  # the last ones
        self.look()

    async def run(self) -> None:
        """Look again and again, until cancelled."""
        while True:
            await next_round()
            try:
                self.look()
            except Exception as fault:  # it costs this look, not the show
                self._show.own_fault("measuring the cables", fault)

    def look(self) -> None:
        """Take the readings of now."""
        now = self._show.clock()
        self.looks += 1
        cables = self._show.engine.state.cables
        carried, paced = [cable.carried(now) for cable in cables], [cable.speed is not None for cable in cables]
        readings = carried, paced, _shed(self._show)
        if now >= self._span_ends:
            self._begin_span(now)
        elif readings == self._readings and self._carried[0][1] == carried:  # nobody plays, so this is kept cheap
            self._carried = deque([(now, carried)])
            return
        self._readings = readings
        self._carried.append((now, carried))
        while len(self._carried) > 1 and self._carried[1][0] <= now - _SECOND:
            self._carried.popleft()
        self._work_out(now, *readings)

    def _work_out(self, now: int, carried: list[int], paced: list[bool], dropped: _Counts) -> None:
        since, before = self._carried[0]
        before = before + carried[len(before) :]  # an output that has come since has carried nothing before
        time, meters = max(now - since, _SECOND), self._show.ports.out_meters
        loads = [
            min(1.0, (new - old) / time) if meter.open else 0.0
            for new, old, meter in zip(carried, before, meters, strict=True)
        ]
        worst = self._worst[-1] = _greater(self._worst[-1], loads)
        self.loads = _of_paced(paced, loads)
        self.peaks = _of_paced(paced, _greater(self._kept, worst))
        self.shed_in, self.shed_out = (_since(then, count) for then, count in zip(self._shed[0], dropped, strict=True))

    def _begin_span(self, now: int) -> None:
        self._span_ends = now + _SPAN
        self._shed.append(_shed(self._show))
        self._worst.append([])
        self._kept = []
        for worst in self._worst:
            self._kept = _greater(self._kept, worst)


def _shed(show: Show) -> _Counts:
    """Messages of each input and output that have been dropped so far."""
    return (
        [show.reader.shed(source) for source in range(len(show.inputs))],
        [cable.counts.shed for cable in show.engine.state.cables],
    )


def _since(then: list[int], now: list[int]) -> list[int]:
    return [max(0, count - before) for count, before in zip(now, then + [0] * (len(now) - len(then)), strict=True)]


def _greater(some: list[float], others: list[float]) -> list[float]:
    """The greater of two values for each output. An output that was added meanwhile has one value only."""
    if len(some) < len(others):
        some, others = others, some
    return [max(one, other) for one, other in zip(some, others, strict=False)] + some[len(others) :]


def _of_paced(paced: list[bool], shares: list[float]) -> _Shares:
    return [round(share, 2) if is_paced else None for is_paced, share in zip(paced, shares, strict=True)]
