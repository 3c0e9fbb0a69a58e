"""Crews of a site: listed, added, changed, given days off, ended; a crew's calendar for whoever asks for it."""

from collections.abc import Callable, Sequence
from datetime import date, time, timedelta
from typing import Annotated, TypeVar

from fastapi import APIRouter, Form, Path, Query, Request, Response
from fastapi.responses import RedirectResponse

from dashboards.contexts import NextStep
from dashboards.crew_contexts import CrewForm, CrewPage, CrewRow, CrewsPage
from dashboards.figures.half_year import WEEKS, half_year
from dashboards.pages.frame import InPage, PageRequest
from dashboards.pages.outages import blank_outage_form, outage_row
from dashboards.rendering import render
from registry.crews import service
from registry.crews.model import SHIFT_STARTS_AT, WEEKDAYS, Crew, CrewAbsence, CrewRequest, CrewUnfit
from registry.errors import Issue
from registry.feeds.service import calendar_path
from registry.plant.store import list_areas
from registry.policy.model import Policy
from registry.policy.service import current_policy
from registry.sites.service import time_zone

ROUTER = APIRouter(prefix="/sites/{site}", include_in_schema=False)

_MINUTES = ("360", "360", "360", "360", "360", "0", "0")
_FIRST_CREW = NextStep("Add the first crew with the form in the strip: a plan needs to know who has which hours.")

_Read = TypeVar("_Read")
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Text = Annotated[str, Form(max_length=200)]
Day = Annotated[str, Form(max_length=10)]
Minutes = Annotated[list[str] | None, Form(max_length=7)]
Codes = Annotated[list[str] | None, Form(max_length=100)]
Revision = Annotated[int, Form(ge=1)]


@ROUTER.get("/crews")
def get_crews(page: InPage) -> Response:
    """Crews with their hours, outages with their areas, and the next half year of both drawn."""
    crews = service.list_crews(page.connection)
    absences = service.list_absences(page.connection)
    outages = service.list_outages(page.connection)
    policy = current_policy(page.connection) if page.sheet.policy_version else None
    until = page.today + timedelta(weeks=WEEKS)
    there = [crew for crew in crews if crew.until_on is None or crew.until_on >= page.today]
    drawn = [each for each in outages if each.until_on >= page.today and each.from_on < until]
    rows = [outage_row(page, outage) for outage in outages]
    return render(
        CrewsPage(
            frame=page.frame("Crews and outages", "weeks"),
            crews=[_row(page, crew, absences, policy) for crew in crews],
            outages=[row for row in rows if row.outage.until_on >= page.today],
            past_outages=[row for row in reversed(rows) if row.outage.until_on < page.today],
            half_year=half_year(
                [(crew, _href(page, crew.crew_id)) for crew in there],
                absences,
                [(outage, f"{page.root}/outages/{outage.outage_id}") for outage in drawn],
                page.today,
            )
            if there or drawn
            else None,
            crew_form=_blank_form(page, policy) if policy else None,
            outage_form=blank_outage_form(page, [area.name for area in list_areas(page.connection)]),
            time_zone=time_zone(page.connection).key,
            next_steps=() if crews else (_FIRST_CREW,),
        )
    )


@ROUTER.post("/crews")
def post_crew(
    page: InPage,
    name: Text = "",
    minutes: Minutes = None,
    families: Codes = None,
    shift_starts_at: Day = "",
    from_on: Day = "",
    until_on: Day = "",
) -> Response:
    """Add a crew, and show it."""
    wanted = _wanted(name, minutes or [], families or [], shift_starts_at, from_on, until_on)
    crew = service.add_crew(page.connection, wanted)
    return RedirectResponse(_href(page, crew.crew_id), status_code=303)


@ROUTER.get("/crews/{crew_id}")
def get_crew(page: InPage, crew_id: Number) -> Response:
    """One crew, and what can be changed of it."""
    return _crew_page(page, crew_id)


@ROUTER.post("/crews/{crew_id}")
def post_crew_change(
    page: InPage,
    crew_id: Number,
    revision: Revision,
    name: Text = "",
    minutes: Minutes = None,
    families: Codes = None,
    shift_starts_at: Day = "",
    from_on: Day = "",
    until_on: Day = "",
) -> Response:
    """Change a crew, if it still is as the form saw it."""
    wanted = _wanted(name, minutes or [], families or [], shift_starts_at, from_on, until_on)
    service.change_crew(page.connection, crew_id, wanted, revision)
    return RedirectResponse(_href(page, crew_id), status_code=303)


@ROUTER.post("/crews/{crew_id}/end")
def post_crew_end(page: InPage, crew_id: Number, until_on: Annotated[date, Form()], revision: Revision) -> Response:
    """Make a day the last one of a crew."""
    service.end_crew(page.connection, crew_id, until_on, revision)
    return RedirectResponse(_href(page, crew_id), status_code=303)


@ROUTER.post("/crews/{crew_id}/absences")
def post_absence(
    page: InPage,
    crew_id: Number,
    from_on: Annotated[date, Form()],
    until_on: Annotated[date, Form()],
    reason: Text = "",
) -> Response:
    """Give a crew days off."""
    service.add_absence(page.connection, crew_id, from_on, until_on, reason)
    return RedirectResponse(f"{_href(page, crew_id)}#days-off", status_code=303)


@ROUTER.post("/absences")
def post_absences(
    page: InPage, from_on: Annotated[date, Form()], until_on: Annotated[date, Form()], reason: Text = ""
) -> Response:
    """Give every crew that is there days off, as on a public holiday."""
    service.add_absence(page.connection, None, from_on, until_on, reason)
    return RedirectResponse(f"{page.root}/crews", status_code=303)


@ROUTER.post("/crews/{crew_id}/absences/{crew_absence_id}/remove")
def post_absence_removal(page: InPage, crew_id: Number, crew_absence_id: Number) -> Response:
    """Take days off back."""
    service.remove_absence(page.connection, crew_id, crew_absence_id)
    return RedirectResponse(f"{_href(page, crew_id)}#days-off", status_code=303)


@ROUTER.get("/crews/{crew_id}/calendar")
def get_calendar(
    page: InPage, request: Request, crew_id: Number, renewed: Annotated[str, Query(max_length=3)] = ""
) -> Response:
    """The crew's page with the address of its calendar, for whoever asked to see it."""
    secret = service.calendar_secret(page.connection, crew_id)
    address = str(request.base_url).rstrip("/") + calendar_path(page.site, crew_id, secret)
    answer = _crew_page(page, crew_id, calendar_address=address, renewed=renewed == "yes")
    answer.headers["Cache-Control"] = "no-store"
    return answer


@ROUTER.post("/crews/{crew_id}/calendar")
def post_calendar(page: InPage, crew_id: Number) -> Response:
    """Give the crew's calendar a new address; the old one is dead."""
    service.renew_calendar(page.connection, crew_id)
    return RedirectResponse(f"{_href(page, crew_id)}/calendar?renewed=yes#calendar", status_code=303)


def _crew_page(
    page: PageRequest, crew_id: int, *, calendar_address: str | None = None, renewed: bool = False
) -> Response:
    crew = service.read_crew(page.connection, crew_id)
    absences = [each for each in service.list_absences(page.connection) if each.crew_id == crew_id]
    policy = current_policy(page.connection)
    return render(
        CrewPage(
            frame=page.frame(crew.name, "weeks"),
            row=_row(page, crew, absences, policy),
            absences=absences,
            form=_form(page, crew, policy),
            root=_href(page, crew_id),
            today=page.today,
            calendar_address=calendar_address,
            renewed=renewed,
        )
    )


def _row(page: PageRequest, crew: Crew, absences: Sequence[CrewAbsence], policy: Policy | None) -> CrewRow:
    labels = {family.code: family.label for family in policy.families} if policy else {}
    return CrewRow(
        crew=crew,
        href=_href(page, crew.crew_id),
        families=", ".join(labels.get(code, code) for code in crew.families) or "every family",
        hours=[(day[:3], minutes / 60.0) for day, minutes in zip(WEEKDAYS, crew.minutes_by_weekday, strict=True)],
        state=_state(crew, page.today),
        days_off=[each for each in absences if each.crew_id == crew.crew_id and each.until_on >= page.today],
    )


def _state(crew: Crew, today: date) -> str:
    if crew.until_on is not None and crew.until_on < today:
        return f"ended {crew.until_on}"
    if crew.from_on is not None and crew.from_on > today:
        return f"from {crew.from_on}" + (f" until {crew.until_on}" if crew.until_on else "")
    return f"here until {crew.until_on}" if crew.until_on else "here"


def _blank_form(page: PageRequest, policy: Policy) -> CrewForm:
    return CrewForm(
        action=f"{page.root}/crews",
        revision=None,
        name="",
        minutes=list(zip(WEEKDAYS, _MINUTES, strict=True)),
        families=[(family.code, family.label, False) for family in policy.families],
        shift_starts_at=f"{SHIFT_STARTS_AT:%H:%M}",
        from_on=None,
        until_on=None,
    )


def _form(page: PageRequest, crew: Crew, policy: Policy) -> CrewForm:
    return CrewForm(
        action=_href(page, crew.crew_id),
        revision=crew.revision,
        name=crew.name,
        minutes=[(day, f"{each:.6g}") for day, each in zip(WEEKDAYS, crew.minutes_by_weekday, strict=True)],
        families=[(family.code, family.label, family.code in crew.families) for family in policy.families],
        shift_starts_at=f"{crew.shift_starts_at:%H:%M}",
        from_on=crew.from_on,
        until_on=crew.until_on,
    )


def _wanted(
    name: str, minutes: Sequence[str], families: Sequence[str], shift_starts_at: str, from_on: str, until_on: str
) -> CrewRequest:
    """The form's fields as the service takes them. Raises CrewUnfit with every one that cannot be read."""
    issues: list[Issue] = []

    def read(column: str, text: str, reader: Callable[[str], _Read], reason: str) -> _Read | None:
        try:
            return reader(text.strip())
        except ValueError:
            issues.append(Issue(None, column, text, reason))
            return None

    by_weekday = [
        read(f"minutes on {day}", text.replace(",", ".") or "0", float, "is no number") or 0.0
        for day, text in zip(WEEKDAYS, minutes, strict=False)
    ]
    wanted = CrewRequest(
        name=name,
        minutes_by_weekday=tuple(by_weekday),
        families=tuple(families),
        shift_starts_at=read("shift_starts_at", shift_starts_at or "07:00", time.fromisoformat, "write it as 07:00")
        or SHIFT_STARTS_AT,
        from_on=read("from_on", from_on, date.fromisoformat, "write it as 2026-03-31") if from_on else None,
        until_on=read("until_on", until_on, date.fromisoformat, "write it as 2026-03-31") if until_on else None,
    )
    if issues:
        raise CrewUnfit("the crew was refused", issues)
    return wanted


def _href(page: PageRequest, crew_id: int) -> str:
    return f"{page.root}/crews/{crew_id}"
