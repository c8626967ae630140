"""The simulation of many machines, with invented costs. How fast anything was is not tested."""

from bench.load import INPUTS
from bench.machines import Simulation, on_paper
from bench.netcosts import Costs

LIGHT = Costs(1e-6, 1e-6, 1e-6, 1e-6, 1e-6, 1e-6, 75, 5)


def test_nothing_gets_lost_and_nothing_is_early() -> None:
    """Every event of every machine arrives, none before it was read; the engine is as busy as calculated on paper."""
    simulation = Simulation(2, LIGHT, 100)
    simulation.run(1.0)
    assert len(simulation.waits) == 2 * INPUTS * 100
    assert min(simulation.waits) > 0
    assert simulation.busy <= on_paper(2, LIGHT, 100).core


def test_what_is_full_first_is_reported() -> None:
    """Where a pack costs almost nothing but bytes, the network port is full first."""
    heavy = Costs(1e-9, 1e-9, 1e-9, 1e-9, 1e-9, 1e-9, 75_000, 5)
    assert on_paper(8, heavy, 100).first == "port, out"
    assert on_paper(8, LIGHT, 100).first == "core"
