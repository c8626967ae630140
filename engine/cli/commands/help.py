"""`bayleaf help`: the handbook in the terminal: its topics, a page, or the pages in which a word occurs."""

import os
import re
import sys
from collections import Counter
from difflib import get_close_matches
from typing import Annotated, Any, Final

import typer

from engine import handbook
from engine.cli.options import Json
from engine.cli.output import CommandError, as_json, console, print_line, table
from engine.plurals import counted

_LINK: Final = re.compile(r"\[([^\]]+)\]\(([a-z-]+)\.md\)")
_CODE: Final = re.compile(r"(^```.*?^```$|`[^`\n]*`)", re.MULTILINE | re.DOTALL)
#: how much alike a word and a topic must be (0 to 1) for the one to be a slip of the other
_ALIKE: Final = 0.75
#: columns; longer lines are hard to read on a wide screen
_WIDEST: Final = 100


def help(
    words: Annotated[
        list[str] | None, typer.Argument(metavar="[TOPIC]", help="A topic of the handbook, or a word to search for.")
    ] = None,
    json: Json = False,
) -> None:
    """Show the handbook: its topics, a page, or the pages with a word."""
    wanted = " ".join(words or [])
    if not wanted:
        _list_topics(json)
    elif topic := handbook.topic_of(wanted):
        _show_page(handbook.pages()[topic], json)
    else:
        _show_hits(wanted, json)


def _list_topics(json: bool) -> None:
    pages = handbook.pages().values()
    if json:
        as_json([{"topic": page.topic, "title": page.title, "purpose": page.purpose} for page in pages])
        return
    table(("topic", "what it is about"), [(page.topic, page.purpose.replace("`", "")) for page in pages])
    print_line("bayleaf help TOPIC shows a page; bayleaf help WORD finds the pages in which a word occurs.")


def _show_page(page: handbook.Page, json: bool) -> None:
    if json:
        as_json(page._asdict())
    elif sys.stdout.isatty():
        _show_on_terminal(_for_terminal(page.text))
    else:
        print_line(page.text, end="")


def _for_terminal(text: str) -> str:
    """Links become emphasis, and a last line names the pages that they lead to; code stays as it is."""
    parts = _CODE.split(text)
    topics = dict.fromkeys(link[2] for part in parts[::2] for link in _LINK.finditer(part))
    parts[::2] = [_LINK.sub(r"*\1*", part) for part in parts[::2]]
    more = ", ".join(f"`bayleaf help {topic}`" for topic in topics)
    return "".join(parts) + (f"\nSee also: {more}\n" if more else "")


def _show_on_terminal(text: str) -> None:
    """Formatted, and through the pager if it is longer than the screen."""
    from rich.markdown import Markdown  # here: it takes as long to load as the rest of the command

    screen = console()
    page: Any = Markdown(text, code_theme="ansi_dark", inline_code_theme="ansi_dark")
    width = min(screen.width, _WIDEST)
    if len(screen.render_lines(page, screen.options.update_width(width))) < screen.height:
        screen.print(page, width=width)
        return
    # `less` must be asked to pass colours on; whoever has set it up otherwise gets plain text
    colours = "R" in os.environ.setdefault("LESS", "-FRX")
    with screen.pager(styles=colours):
        screen.print(page, width=width)


def _show_hits(wanted: str, json: bool) -> None:
    hits = handbook.search(wanted)
    near = get_close_matches("-".join(wanted.casefold().split()), handbook.pages(), n=3, cutoff=_ALIKE)
    if not hits:
        meant = f"; did you mean {' or '.join(near)}?" if near else "; bayleaf help lists the topics"
        raise CommandError(f'the handbook has no topic "{wanted}", and no page contains it{meant}')
    if json:
        as_json({"words": wanted, "topics": near, "hits": [hit._asdict() for hit in hits]})
        return
    counts = Counter(hit.topic for hit in hits)
    first = {hit.topic: hit for hit in reversed(hits)}
    rows = [(topic, count, first[topic].text) for topic, count in counts.most_common()]
    title = f'"{wanted}" occurs on {counted(len(rows), "page")}; bayleaf help TOPIC shows one'
    table(("topic", "lines", "the first of them"), rows, title)
