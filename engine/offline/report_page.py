"""The report as one HTML page that needs no network and no script."""

from collections.abc import Iterable, Sequence
from html import escape
from importlib import resources
from typing import Any, Final

from engine.offline import report_drawing
from engine.offline.heard_notes import HeardNote, notes
from engine.offline.rehearsal import Performance
from engine.offline.report_drawing import Scale

_LISTED: Final = 200  # differences on the page; report.json has them all
_AT_A_GLANCE: Final = 20  # differences that are shown unfolded
_COMPARED: Final = (("against", "Against the rig"), ("expected", "Against the earlier run"))


def page(report: dict[str, Any], done: Performance) -> str:
    """The whole page; every text from a rig or a song is escaped."""
    style = resources.files("engine.offline").joinpath("page.css").read_text(encoding="utf-8")
    title = escape(f"{report['song']} through {report['rig']}")
    scale = Scale(max(done.ends, 1))
    body = "".join((
        _head(report),
        _findings(report),
        _remarks(report),
        *(_differences(f"{title} {report[key]['with']}", report[key]) for key, title in _COMPARED if key in report),
        _changes(report, scale),
        *(_output(name, report, done, scale) for name in report["outputs"]),
        _instruments(report),
        _notices(report),
    ))  # fmt: skip
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        '<meta name="color-scheme" content="light dark">'
        f"<title>Rehearsal: {title}</title><style>{style}</style></head><body><main>{body}</main></body></html>\n"
    )


def _head(report: dict[str, Any]) -> str:
    minutes, seconds = divmod(round(report["seconds"]), 60)
    left = report["notes_left_sounding"]
    figures = (
        ("length", f"{minutes}:{seconds:02}"),
        ("scene changes", str(len(report["scene_changes"]))),
        ("messages in", f"{report['messages_in']:,}"),
        ("messages out", f"{report['messages_out']:,}"),
        ("worst wait", f"{max((o['worst_wait_ms'] for o in report['outputs'].values()), default=0):.1f} ms"),
        ("left out", f"{sum(output['shed'] for output in report['outputs'].values()):,}"),
        ("left sounding", "none" if not left else f"{left} ✗"),
    )
    cells = "".join(f"<div><dt>{name}</dt><dd>{escape(value)}</dd></div>" for name, value in figures)
    return (
        f'<header><p class="mark">Bayleaf rehearsal</p><h1>{escape(report["song"])}</h1>'
        f'<p class="rig">through {escape(report["rig"])}</p><dl class="figures">{cells}</dl></header>'
    )


def _findings(report: dict[str, Any]) -> str:
    if not report["findings"]:
        fine = "Nothing was audibly late, and nothing was lost."
        return f'<section class="fine"><h2>Nothing to fix</h2><p>{fine}</p></section>'
    return f'<section class="fix"><h2>What to fix</h2>{_list(report["findings"])}</section>'


def _remarks(report: dict[str, Any]) -> str:
    if not report["remarks"]:
        return ""
    return f"<section><h2>What to know</h2>{_list(report['remarks'])}</section>"


def _differences(title: str, found: dict[str, Any]) -> str:
    """The differences from another run; `found` as made by `performance_comparison.as_json`."""
    title = escape(title)
    lines = [*found.get("files", ()), *found["summary"]]
    if not lines:
        return f"<section><h2>{title}</h2><p>Every message is the same.</p></section>"
    rows = ((one["place"], one["output"], _how(one), one["words"]) for one in found["differences"][:_LISTED])
    caption = "Differences"
    if found["count"] > _LISTED:
        caption = f"The first {_LISTED} of {found['count']:,} differences; report.json has the rest"
    shown = ""
    if found["count"]:
        opened = " open" if found["count"] <= _AT_A_GLANCE else ""
        listed = _table(caption, ("when", "output", "how", "message"), rows)
        shown = f"<details{opened}><summary>Note by note</summary>{listed}</details>"
    return f"<section><h2>{title}</h2>{_list(lines)}{shown}</section>"


def _how(difference: dict[str, Any]) -> str:
    moved = difference.get("moved_ms")
    if moved is None:
        return str(difference["what"])
    return f"{abs(moved):.1f} ms {'later' if moved > 0 else 'earlier'}"


def _changes(report: dict[str, Any], scale: Scale) -> str:
    changes = report["scene_changes"]
    columns = (
        "when",
        "scene",
        "recalled by",
        "burst",
        "all ready after",
        "notes carried over",
        "messages waited",
        "worst",
    )
    rows = (
        (
            one["place"],
            f"{one['number']} {one['name']}",
            one["by"],
            f"{one['burst_bytes']} bytes",
            f"{one['ready_ms']:.1f} ms",
            one["notes_carried_over"],
            one["messages_that_waited"],
            f"{one['worst_wait_ms']:.1f} ms",
        )
        for one in changes
    )
    strip = f'<div class="strip">{report_drawing.scene_band(changes, scale)}{report_drawing.time_marks(scale)}</div>'
    dotted = "<p>In the pictures below, a dotted line marks a scene change.</p>"
    return f"<section><h2>Scenes</h2>{strip}{dotted}{_table('What each scene change cost', columns, rows)}</section>"


def _output(name: str, report: dict[str, Any], done: Performance, scale: Scale) -> str:
    output, changes = report["outputs"][name], report["scene_changes"]
    played = notes((each.start, each.message) for each in done.sent[name])
    parts = [f'<section class="output"><h2>{escape(name)}</h2>{_summary(output)}']
    if output["load"]["limit_bytes_per_second"]:
        parts.append(
            "<figure><figcaption>Cable load; the dashed line is the capacity"
            f"{'; triangles mark the worst waits' if output['worst_waits'] else ''}</figcaption>"
            f"{report_drawing.load(output, scale, changes, name)}</figure>"
        )
    for lane in output["channels"]:
        here = [note for note in played if note.channel == lane["channel"] - 1]
        parts.append(_lane(lane, here, scale, changes))
    if output["channels"]:
        parts.append(report_drawing.time_marks(scale))
    if output["worst_waits"]:
        rows = ((each["place"], each["message"], f"{each['ms']:.1f} ms") for each in output["worst_waits"])
        parts.append(_table(f"Worst waits on {name}", ("when", "message", "waited"), rows))
    return "".join((*parts, "</section>"))


def _summary(output: dict[str, Any]) -> str:
    said = [f"{output['messages']:,} messages", f"{output['notes']:,} notes"]
    busiest = output["load"]["busiest_second"]
    if output["wire"] == "din":
        said.append(f"DIN cable, {busiest['share']:.0%} full in its busiest second ({busiest['place']})")
    else:
        said.append("fast output")
    said.append(f"worst wait {output['worst_wait_ms']:.1f} ms")
    if output["replaced"]:
        said.append(f"{output['replaced']:,} values superseded by newer ones")
    said.append(f"{output['shed']:,} messages left out" if output["shed"] else "nothing left out")
    return f"<p>{escape(', '.join(said))}</p>"


def _lane(lane: dict[str, Any], here: Sequence[HeardNote], scale: Scale, changes: Sequence[dict[str, Any]]) -> str:
    name = lane["instrument"] or f"channel {lane['channel']}"
    label = f"{name}, channel {lane['channel']}" if lane["instrument"] else name
    said = f"{lane['notes']:,} notes, {lane['compass']}"
    return (
        f'<figure class="lane"><figcaption>{escape(label)} <small>{said}</small></figcaption>'
        f"{report_drawing.roll(here, scale, changes, f'{label}: {said}')}</figure>"
    )


def _instruments(report: dict[str, Any]) -> str:
    if not report["instruments"]:
        return ""
    rows = []
    never: dict[str, Any] = {"place": "never", "bank": (None, None), "program": "", "sound": None}
    for name, gear in report["instruments"].items():
        place = f"{gear['output']}, channel {gear['channel']}"
        for chosen in gear["programs"] or (never,):
            bank = " ".join("–" if part is None else str(part) for part in chosen["bank"])
            rows.append((name, place, chosen["place"], chosen["sound"] or "", bank, chosen["program"]))
            name = place = ""
    columns = ("instrument", "at", "from", "sound", "bank", "program")
    return f"<section><h2>Instruments</h2>{_table('The sounds of each instrument', columns, rows)}</section>"


def _notices(report: dict[str, Any]) -> str:
    if not report["told"]:
        return ""
    listed = "".join(f"<li><b>{escape(each['place'])}</b> {escape(each['text'])}</li>" for each in report["told"][:500])
    return f"<section><h2>Notices</h2><ul>{listed}</ul></section>"


def _table(caption: str, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    head = "".join(f'<th scope="col">{escape(column)}</th>' for column in columns)
    body = "".join(f"<tr>{''.join(f'<td>{_cell(cell)}</td>' for cell in row)}</tr>" for row in rows)
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{escape(caption)}"><table>'
        f"<caption>{escape(caption)}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _list(texts: Iterable[str]) -> str:
    return f"<ul>{''.join(f'<li>{_cell(text)}</li>' for text in texts)}</ul>"


def _cell(value: object) -> str:
    """Keep a figure and its unit on one line."""
    return escape(str(value)).replace(" ms", "&nbsp;ms").replace(" bytes", "&nbsp;bytes")
