"""Draws the results with matplotlib (`pip install 'bayleaf[bench]'`)."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any


def draw(parts: Mapping[str, Any], file: Path) -> bool:
    """Write an SVG; where matplotlib is missing, print a sentence and return False."""
    try:
        import matplotlib
    except ModuleNotFoundError:
        print("No picture: matplotlib is missing; pip install 'bayleaf[bench]' brings it.")
        return False
    matplotlib.use("svg")
    matplotlib.rcParams.update({"svg.hashsalt": "bayleaf", "svg.fonttype": "none", "font.size": 9})
    matplotlib.rcParams.update({"axes.grid": True, "grid.alpha": 0.3})
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(2, 3, figsize=(13, 7.5), layout="constrained")
    _growth(axes[0][0], parts, ("warm", "cold"), "µs", "a message, doubling one thing")
    _growth(axes[0][1], parts, ("load",), "ms of CPU", "to load the rig")
    _growth(axes[0][2], parts, ("memory",), "MB", "of memory for the rig")
    _late(axes[1][0], parts, "latency", "in process, reader to driver")
    _late(axes[1][1], parts, "jack", "through JACK, player to listener")
    _late(axes[1][2], parts, "grid", "clock, off its grid")
    figure.savefig(file, metadata={"Date": None, "Creator": None})
    pyplot.close(figure)
    return True


def _growth(axes: Any, parts: Mapping[str, Any], figures: tuple[str, ...], label: str, title: str) -> None:
    """Cost against number, both doubling."""
    axes.set(xscale="log", yscale="log", xlabel="how many", ylabel=label, title=title)
    for index, (name, curve) in enumerate(parts.get("growth", {}).get("curves", {}).items()):
        for figure in figures:
            points = [(x, y) for x, y in zip(curve["count"], curve[figure], strict=True) if y > 0]
            style = {"linestyle": "--" if figure == "cold" else "-", "color": f"C{index}", "marker": "."}
            words = f"{name}, {figure}" if len(figures) > 1 else name
            axes.plot([x for x, _ in points], [y for _, y in points], label=words, **style)
    _legend(axes)


def _late(axes: Any, parts: Mapping[str, Any], part: str, title: str) -> None:
    """The longest wait of a given share of the messages; further right, fewer are left out."""
    axes.set(xscale="log", yscale="log", xlabel="one message of so many is later", ylabel="µs", title=title)
    for name, curve in parts.get(part, {}).get("curves", {}).items():
        axes.plot(curve["one of"], curve["us"], label=name)
    _legend(axes)


def _legend(axes: Any) -> None:
    if axes.get_legend_handles_labels()[0]:
        axes.legend(fontsize=7, handlelength=3)
