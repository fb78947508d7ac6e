"""The one template environment: autoescape on, undefined names are errors, and the few filters that pages need."""

from collections.abc import Collection
from datetime import date, datetime
from functools import lru_cache, partial
from pathlib import Path
from urllib.parse import urlsplit

import nh3
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markdown_it import MarkdownIt
from markupsafe import Markup

from server.records.questions.journal import runs

FOLDER = Path(__file__).parent.parent.parent / "templates"


@lru_cache
def environment() -> Environment:
    """Built once; templates are compiled as they are first used."""
    env = Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    env.filters.update(prose=prose, day=iso_day, moment=moment, figure=figure, runs=runs)
    return env


@lru_cache
def _markdown() -> MarkdownIt:
    return MarkdownIt("commonmark", {"html": False, "linkify": False, "breaks": True}).enable("table")


PROSE_TAGS = {"p", "br", "em", "strong", "code", "pre", "blockquote", "ul", "ol", "li", "a", "hr"} | {
    "table",
    "thead",
    "tbody",
    "tr",
    "th",
    "td",
    "h3",
    "h4",
    "h5",
    "h6",
}


def prose(text: str, home: Collection[str] | None = None) -> Markup:
    """A keeper's Markdown as safe HTML. Headings start below the page's own.

    Where `home` is given, links lead to other hosts than these alone; the words of the others stay.
    """
    rendered = _markdown().render(text).replace("<h1>", "<h3>").replace("</h1>", "</h3>")
    rendered = rendered.replace("<h2>", "<h3>").replace("</h2>", "</h3>")
    safe = nh3.clean(
        rendered,
        tags=PROSE_TAGS,
        attributes={"a": {"href"}},
        url_schemes={"http", "https", "mailto"},
        attribute_filter=None if home is None else partial(_leading_away, home),
    )
    return Markup(safe)  # noqa: S704 (cleaned in the line above)


def _leading_away(home: Collection[str], tag: str, attribute: str, value: str) -> str | None:
    """An attribute as it may stay: an address has to name a host, and none at home."""
    if (tag, attribute) != ("a", "href") or value.lower().startswith("mailto:"):
        return value
    try:
        host = urlsplit(value).hostname
    except ValueError:  # brackets that hold no IPv6 address
        return None
    return value if host and host.rstrip(".") not in home else None


def iso_day(value: date | None) -> str:
    return value.isoformat() if value else ""


def moment(value: datetime) -> str:
    """A moment as the journal shows it: to the minute, in UTC."""
    return value.strftime("%Y-%m-%d %H:%M UTC")


def figure(value: float, digits: int = 4) -> str:
    """A number to so many significant digits, with a true minus sign."""
    text = f"{value:,.{digits}g}" if 1e-3 <= abs(value) < 1e9 or value == 0 else f"{value:.{digits}g}"
    if "e" not in text and abs(value) >= 10**digits:
        text = f"{value:,.0f}"
    return text.replace("-", "−")
