"""Contexts into pages: one Jinja environment, strict about names, and the few filters that templates use."""

import math
import re
from dataclasses import fields
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

import orjson
from fastapi import Response
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from dashboards.assets import plotting_library, static_address
from dashboards.contexts import PageContext
from dashboards.words import (
    ACCESS_WORDS,
    DUE_REASON_WORDS,
    DUE_STATE_WORDS,
    HORIZON_WORDS,
    KIND_WORDS,
    RESULT_WORDS,
    band_legend,
)
from registry.overview.risk_bands import BAND_WORDS

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
TEMPLATES = Path(__file__).parent / "templates"
_WORDS = {**DUE_STATE_WORDS, **DUE_REASON_WORDS, **RESULT_WORDS, **ACCESS_WORDS, **KIND_WORDS}


def render(context: PageContext, status_code: int = 200) -> Response:
    """The page of a context."""
    values = {field.name: getattr(context, field.name) for field in fields(context)}
    text = _environment().get_template(context.template).render(values)
    return HTMLResponse(text, status_code=status_code, headers={"Cache-Control": "private, no-cache"})


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    shared: dict[str, Any] = {
        "static": static_address,
        "plotting": plotting_library(),
        "band_words": BAND_WORDS,
        "band_legend": band_legend(),
        "horizon_words": HORIZON_WORDS,
    }
    environment.globals.update(shared)
    environment.filters.update(
        count=count,
        digits=digits,
        whole=whole,
        tenths=tenths,
        json=embedded_json,
        words=in_words,
        tag_path=tag_path,
        moment=moment,
        years=years,
        sentence=sentence,
        dated=dated,
    )
    return environment


def count(number: float) -> str:
    """A count with its thousands set apart.

    >>> count(12034)
    '12,034'
    """
    return f"{round(number):,}"


def whole(number: float) -> str:
    """A measure rounded to whole units."""
    return f"{round(number):,}"


def tenths(number: float) -> str:
    """A measure to one decimal, so that a column of them lines up."""
    return f"{number:,.1f}"


def digits(number: float | None, significant: int = 3) -> str:
    """A measure to so many significant digits, without an exponent where that reads easily.

    >>> digits(0.012345), digits(1234.5), digits(0.00003), digits(0.00000321), digits(2.0)
    ('0.0123', '1,230', '0.00003', '3.21e-06', '2')
    """
    if number is None:
        return "–"
    if number == 0 or not math.isfinite(number):
        return f"{number:g}"
    if not 1e-5 <= abs(number) < 1e7:
        return f"{number:.{significant}g}"
    places = significant - 1 - math.floor(math.log10(abs(number)))
    text = f"{round(number, places):,.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def years(number: float) -> str:
    """A span of years in words.

    >>> years(1.0), years(55.56), years(0.83)
    ('1 year', '56 years', '0.83 years')
    """
    text = digits(number, 2)
    return f"{text} year" if text == "1" else f"{text} years"


def sentence(text: str) -> str:
    """Text that stands alone: a capital at its head, a stop at its end.

    >>> sentence("no joint 'X-1' here")
    "No joint 'X-1' here."
    """
    return f"{text[:1].upper()}{text[1:]}{'' if text[-1:] in '.!?' else '.'}"


def dated(text: str) -> Markup:
    """Text whose days are not broken at the end of a line.

    >>> dated("due 2026-03-04 & late")
    Markup('due <span class="nowrap">2026-03-04</span> &amp; late')
    """
    return Markup(_DAY.sub(r'<span class="nowrap">\g<0></span>', str(escape(text))))


def moment(at: datetime | date) -> str:
    """A time to the minute; a midnight is a day."""
    if isinstance(at, datetime) and (at.hour or at.minute):
        return f"{at:%Y-%m-%d %H:%M}"
    return f"{at:%Y-%m-%d}"


def in_words(code: str | None) -> str:
    """A code in the trade's words; one that has none, with its underscores as blanks."""
    if code is None:
        return "not given"
    return _WORDS.get(code, code.replace("_", " ").replace("twin ferrule", "twin-ferrule"))


def tag_path(tag: str) -> str:
    """A tag as it stands in an address; a slash stays one."""
    return quote(tag, safe="/")


def embedded_json(value: Any) -> Markup:
    """JSON that may stand inside a script element: no text in it can end the element."""
    text = orjson.dumps(value, option=orjson.OPT_SERIALIZE_NUMPY).decode()
    return Markup(text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e"))
