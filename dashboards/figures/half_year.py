"""The next half year of crews and outages on one scale of weeks: where each of them is, in shares of the width."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from registry.crews.calendar import capacity_minutes, day_minutes
from registry.crews.model import Crew, CrewAbsence, Outage

WEEKS = 26
_DAYS = 7
_BAR_HIGH_PX = 26.0


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of days: from where to how far, in percent of the width, and what it is."""

    from_percent: float
    width_percent: float
    words: str


@dataclass(frozen=True, slots=True)
class WeekBar:
    """The hours of a crew's week as a bar: percent along, pixels down from the top and high."""

    from_percent: float
    width_percent: float
    top_px: float
    high_px: float


@dataclass(frozen=True, slots=True)
class Lane:
    """One crew or outage."""

    words: str
    href: str
    bars: Sequence[WeekBar]
    shut: Sequence[Span]
    """Days off, or days of the outage."""
    said: str
    """What the drawing of the lane shows, for whoever cannot see it."""


@dataclass(frozen=True, slots=True)
class HalfYear:
    """Lanes over the same weeks. Bars share one scale: the tallest is `most_hours` a week."""

    starts_on: date
    months: Sequence[Span]
    today_percent: float
    crews: Sequence[Lane]
    outages: Sequence[Lane]
    most_hours: float


def half_year(
    crews: Sequence[tuple[Crew, str]],
    absences: Sequence[CrewAbsence],
    outages: Sequence[tuple[Outage, str]],
    today: date,
) -> HalfYear:
    """The drawing from this week's Monday on; each crew and outage comes with the address of its page."""
    monday = today - timedelta(days=today.weekday())
    minutes = capacity_minutes([crew for crew, _ in crews], absences, monday, WEEKS)
    most = float(minutes.max(initial=0.0))
    return HalfYear(
        starts_on=monday,
        months=_months(monday),
        today_percent=_percent((today - monday).days + 0.5),
        crews=[
            Lane(
                words=crew.name,
                href=href,
                bars=[_bar(week, float(each), most) for week, each in enumerate(minutes[row]) if each > 0],
                shut=_days_off(crew, absences, monday),
                said=_hours_said([float(each) / 60.0 for each in minutes[row]]),
            )
            for row, (crew, href) in enumerate(crews)
        ],
        outages=[
            Lane(outage.name, href, (), spans, spans[0].words)
            for outage, href in outages
            if (spans := _spans([(outage.from_on, outage.until_on, outage_words(outage))], monday))
        ],
        most_hours=most / 60.0,
    )


def outage_words(outage: Outage) -> str:
    """Days and areas of an outage."""
    where = ", ".join(outage.areas) if outage.areas else "whole site"
    return f"{outage.from_on} to {outage.until_on}: {where}"


def _days_off(crew: Crew, absences: Sequence[CrewAbsence], monday: date) -> list[Span]:
    # A day off on which the crew never works is none worth hatching.
    usual = day_minutes(crew, (), monday, WEEKS * _DAYS)
    own = [
        (absence.from_on, absence.until_on, f"{absence.from_on} to {absence.until_on}: {absence.reason}")
        for absence in absences
        if absence.crew_id == crew.crew_id
    ]
    return [
        span
        for (from_on, until_on, _), span in ((each, part) for each in own for part in _spans([each], monday))
        if usual[max((from_on - monday).days, 0) : (until_on - monday).days + 1].any()
    ]


def _spans(stretches: Sequence[tuple[date, date, str]], monday: date) -> list[Span]:
    last = WEEKS * _DAYS
    cut = [
        (max((from_on - monday).days, 0), min((until_on - monday).days + 1, last), words)
        for from_on, until_on, words in stretches
    ]
    return [Span(_percent(first), _percent(end - first), words) for first, end, words in cut if first < end]


def _bar(week: int, minutes: float, most: float) -> WeekBar:
    high = _BAR_HIGH_PX * minutes / most
    return WeekBar(_percent(week * _DAYS + 0.5), _percent(_DAYS - 1), round(_BAR_HIGH_PX - high, 1), round(high, 1))


def _months(monday: date) -> list[Span]:
    end = monday + timedelta(weeks=WEEKS)
    months: list[Span] = []
    first = monday
    while first < end:
        following = (first.replace(day=1) + timedelta(days=32)).replace(day=1)
        until = min(following, end)
        months.append(Span(_percent((first - monday).days), _percent((until - first).days), f"{first:%Y-%m}"))
        first = following
    return months


def _hours_said(hours: Sequence[float]) -> str:
    """The hours of the weeks in words, equal ones told together.

    >>> _hours_said([40.0, 40.0, 32.0])
    '2 weeks of 40 h, 1 week of 32 h'
    """
    runs: list[tuple[float, int]] = []
    for each in hours:
        if runs and abs(runs[-1][0] - each) < 0.05:
            runs[-1] = (each, runs[-1][1] + 1)
        else:
            runs.append((each, 1))
    return ", ".join(f"{count} {'week' if count == 1 else 'weeks'} of {each:.3g} h" for each, count in runs)


def _percent(days: float) -> float:
    return round(100.0 * days / (WEEKS * _DAYS), 3)
