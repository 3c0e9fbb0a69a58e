"""Cells that should be days or times: what they are, or why not. A day that could be read two ways is not guessed."""

import datetime as dt
import re
from collections.abc import Callable, Sequence
from typing import Final, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import polars as pl

from registry.intake.model import Column, MappingUnusable

_EARLIEST: Final = dt.date(1900, 1, 1)
_LATEST: Final = dt.date(2200, 1, 1)
_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_FULL_MONTHS: Final = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
_DAY_FIRST: Final = re.compile(r"^(\d{1,2})[\s./-]*([A-Za-z]{3,9})\.?[\s,./-]*(\d{4})$")
_MONTH_FIRST: Final = re.compile(r"^([A-Za-z]{3,9})\.?[\s./-]*(\d{1,2}),?[\s./-]+(\d{4})$")
_YEAR_FIRST: Final = re.compile(r"^(\d{4})[./](\d{1,2})[./](\d{1,2})$")
_ALL_DIGITS: Final = re.compile(r"^\d{1,2}[\s./-]\d{1,2}[\s./-]\d{2,4}\b")
_TOKENS: Final = {
    "YYYY": "%Y", "YY": "%y", "MONTH": "%B", "MON": "%b", "MM": "%m", "DD": "%d", "hh": "%H", "mm": "%M", "ss": "%S",
}  # fmt: skip
_Found = TypeVar("_Found", dt.date, dt.datetime)
_TOKEN: Final = re.compile(r"YYYY|YY|[Mm][Oo][Nn][Tt][Hh]|[Mm][Oo][Nn]|MM|DD|hh|mm|ss")


def strptime_format(pattern: str) -> str:
    """A date format as people write it, for the parser.

    Examples
    --------
    >>> strptime_format("DD/MM/YYYY"), strptime_format("DD-Mon-YY hh:mm")
    ('%d/%m/%Y', '%d-%b-%y %H:%M')
    """
    made = _TOKEN.sub(
        lambda found: _TOKENS.get(found[0], _TOKENS.get(found[0].upper(), "")), pattern.replace("%", "%%")
    )
    if not all(any(token in made for token in group) for group in (("%Y", "%y"), ("%m", "%b", "%B"), ("%d",))):
        raise MappingUnusable(
            f"date_format {pattern!r} does not say where year, month and day stand: write it such as DD/MM/YYYY"
        )
    return made


def days(text: pl.Series, column: Column, formats: Sequence[str], today: dt.date) -> tuple[pl.Series, dict[str, str]]:
    """The cells as days (null where empty or bad), and the reason of each distinct bad cell."""
    patterns = [strptime_format(pattern) for pattern in formats]
    return _by_distinct_cell(text, pl.Date, lambda cell: _checked(_day(cell, patterns), column, today))


def times(
    text: pl.Series, column: Column, formats: Sequence[str], time_zone: str, today: dt.date
) -> tuple[pl.Series, dict[str, str]]:
    """The cells as times in UTC (null where empty or bad); one without a zone is taken to be in `time_zone`."""
    patterns = [strptime_format(pattern) for pattern in formats]
    try:
        zone = ZoneInfo(time_zone)
    except (ZoneInfoNotFoundError, ValueError):
        raise MappingUnusable(f"there is no time zone {time_zone!r}: write it such as Europe/Oslo or UTC") from None

    def time(cell: str) -> dt.datetime | str:
        # Judged by the day as it is written: west of here, this evening is tomorrow in UTC.
        found = _checked(_time(cell, patterns), column, today)
        if isinstance(found, str):
            return found
        return (found if found.tzinfo else found.replace(tzinfo=zone)).astimezone(dt.UTC)

    return _by_distinct_cell(text, pl.Datetime("us", "UTC"), time)


def _by_distinct_cell(
    text: pl.Series, kind: pl.DataType | type[pl.DataType], parse: Callable[[str], _Found | str]
) -> tuple[pl.Series, dict[str, str]]:
    good: dict[str, _Found] = {}
    reasons: dict[str, str] = {}
    for cell in text.drop_nulls().unique().to_list():
        found = parse(cell)
        if isinstance(found, str):
            reasons[cell] = found
        else:
            good[cell] = found
    if not good:
        return pl.repeat(None, text.len(), dtype=kind, eager=True), reasons
    values = pl.Series(list(good.values()), dtype=kind)
    return text.replace_strict(pl.Series(list(good)), values, default=None, return_dtype=kind), reasons


def _checked(found: _Found | str, column: Column, today: dt.date) -> _Found | str:
    if isinstance(found, str):
        return found
    day = found.date() if isinstance(found, dt.datetime) else found
    if not _EARLIEST <= day < _LATEST:
        return f"is the year {day.year}: correct it, and write the year in four digits"
    if column.not_in_future and day > today:
        return f"lies in the future (today is {today.isoformat()}): correct the date"
    return found


def _day(cell: str, patterns: Sequence[str]) -> dt.date | str:
    found = _time(cell, patterns)
    return found if isinstance(found, str) else found.date()


def _time(cell: str, patterns: Sequence[str]) -> dt.datetime | str:
    for pattern in patterns:
        try:
            return dt.datetime.strptime(cell, pattern)  # noqa: DTZ007 - the zone is the mapping's to give
        except ValueError:
            continue
    if not cell.replace(".", "", 1).isdigit():  # 20220709 may be a number that lost its meaning
        try:
            return dt.datetime.fromisoformat(cell)
        except ValueError:
            pass
    return _spelled_out(cell)


def _spelled_out(cell: str) -> dt.datetime | str:
    if found := _DAY_FIRST.match(cell):
        day, month, year = int(found[1]), _month(found[2]), int(found[3])
    elif found := _MONTH_FIRST.match(cell):
        day, month, year = int(found[2]), _month(found[1]), int(found[3])
    elif found := _YEAR_FIRST.match(cell):
        day, month, year = int(found[3]), int(found[2]), int(found[1])
    elif _ALL_DIGITS.match(cell):
        return "could be read two ways: say date_format in the mapping, such as DD/MM/YYYY"
    elif cell.replace(".", "", 1).isdigit():
        return "is a bare number: format the cell as a date, or write it such as 2022-07-09"
    else:
        return "is not a date: write it such as 2022-07-09 or 09-Jul-2022, or leave the cell empty"
    try:
        return dt.datetime(year, month, day)  # noqa: DTZ001 - the zone is the mapping's to give
    except ValueError:
        return "is no day of the calendar: write it such as 2022-07-09 or 09-Jul-2022"


def _month(word: str) -> int:
    word = word.lower()
    for names in (_MONTHS, _FULL_MONTHS):
        if word in names:
            return names.index(word) + 1
    return 9 if word == "sept" else 0
