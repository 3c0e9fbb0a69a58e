"""Crews and outages of a site: added, changed, ended; days off; the secret of a crew's calendar."""

import math
import secrets
from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from registry.crews import store
from registry.crews.model import (
    LONGEST_NAME,
    LONGEST_REASON,
    MINUTES_OF_A_DAY,
    WEEKDAYS,
    AbsenceUnfit,
    AbsenceUnknown,
    Crew,
    CrewAbsence,
    CrewChangedSince,
    CrewExists,
    CrewRequest,
    CrewUnfit,
    CrewUnknown,
    Outage,
    OutageChangedSince,
    OutageExists,
    OutageRequest,
    OutageUnfit,
    OutageUnknown,
)
from registry.db import Connection
from registry.errors import Issue
from registry.plant.model import plain_name
from registry.plant.store import list_areas, read_plan
from registry.policy.service import current_policy

_SECRET_BYTES = 32


def list_crews(connection: Connection) -> list[Crew]:
    """Every crew of the site by name, those that have ended too."""
    return store.list_crews(connection)


def list_absences(connection: Connection) -> list[CrewAbsence]:
    """The days off of every crew, the first to come first."""
    return store.list_absences(connection)


def list_outages(connection: Connection) -> list[Outage]:
    """Every outage of the site, the first to come first."""
    return store.list_outages(connection)


def read_crew(connection: Connection, crew_id: int) -> Crew:
    """One crew by its number. Raises CrewUnknown."""
    for crew in store.list_crews(connection, crew_id=crew_id):
        return crew
    raise CrewUnknown(f"no crew {crew_id} in this site")


def crew_by_name(connection: Connection, name: str) -> Crew | None:
    """The crew of that name, letter case and spacing aside; None where there is none."""
    return next(iter(store.list_crews(connection, name=_one_line(name))), None)


def crew_named(connection: Connection, name: str) -> Crew:
    """The crew of that name, letter case and spacing aside. Raises CrewUnknown."""
    crew = crew_by_name(connection, name)
    if crew is None:
        known = ", ".join(crew.name for crew in store.list_crews(connection)) or "none yet"
        raise CrewUnknown(f"no crew '{name}' here; there is {known}")
    return crew


def read_outage(connection: Connection, outage_id: int) -> Outage:
    """One outage by its number. Raises OutageUnknown."""
    for outage in store.list_outages(connection, outage_id):
        return outage
    raise OutageUnknown(f"no outage {outage_id} in this site")


def add_crew(connection: Connection, wanted: CrewRequest) -> Crew:
    """Add a crew. Raises CrewUnfit with every fault, or CrewExists."""
    wanted = _fit_crew(connection, wanted)
    _refuse_second_crew(connection, wanted.name, None)
    return store.add_crew(connection, wanted, secrets.token_urlsafe(_SECRET_BYTES))


def change_crew(connection: Connection, crew_id: int, wanted: CrewRequest, revision: int | None) -> Crew:
    """Make a crew as wanted, if it is still at the revision that was seen (None: whatever it is at).

    The next plan sees it; plans that are made stand. Raises CrewUnfit, CrewUnknown, CrewChangedSince or CrewExists.
    """
    standing = read_crew(connection, crew_id)
    wanted = _fit_crew(connection, wanted)
    _refuse_second_crew(connection, wanted.name, crew_id)
    changed = store.save_crew(connection, crew_id, wanted, revision)
    if changed is None:
        raise _crew_changed(standing, revision)
    return changed


def end_crew(connection: Connection, crew_id: int, until_on: date, revision: int | None) -> Crew:
    """Make a day the last one of a crew; what it did stays on record.

    Raises CrewUnfit where that is before its first day, CrewUnknown or CrewChangedSince.
    """
    standing = read_crew(connection, crew_id)
    if standing.from_on is not None and until_on < standing.from_on:
        raise CrewUnfit("the crew was not changed", [_issue("until_on", until_on, "is before its first day")])
    ended = store.save_crew(connection, crew_id, replace(standing.as_request(), until_on=until_on), revision)
    if ended is None:
        raise _crew_changed(standing, revision)
    return ended


def add_absence(
    connection: Connection, crew_id: int | None, from_on: date, until_on: date, reason: str
) -> list[CrewAbsence]:
    """Give a crew, or (None) every crew that is there on some of these days, days off; both days within.

    A public holiday is an absence of every crew. Returns what is new: a crew that has just these days off for the same
    reason already is left as it is. Raises AbsenceUnfit or CrewUnknown.
    """
    reason = _one_line(reason)
    issues = list(_faults_of_days(from_on, until_on))
    if not 0 < len(reason) <= LONGEST_REASON:
        issues.append(_issue("reason", reason, f"say why, in at most {LONGEST_REASON} characters"))
    if issues:
        raise AbsenceUnfit("the days off were refused", issues)
    crews = store.list_crews(connection) if crew_id is None else [read_crew(connection, crew_id)]
    if crew_id is None:
        crews = [crew for crew in crews if _is_there(crew, from_on, until_on)]
    added = store.add_absences(connection, [crew.crew_id for crew in crews], from_on, until_on, reason)
    store.raise_crew_revisions(connection, [absence.crew_id for absence in added])
    return added


def remove_absence(connection: Connection, crew_id: int, crew_absence_id: int) -> Crew:
    """Take days off back, and return the crew. Raises CrewUnknown or AbsenceUnknown."""
    read_crew(connection, crew_id)
    if not store.remove_absence(connection, crew_id, crew_absence_id):
        raise AbsenceUnknown(f"crew {crew_id} has no absence {crew_absence_id}")
    store.raise_crew_revisions(connection, [crew_id])
    return read_crew(connection, crew_id)


def renew_calendar(connection: Connection, crew_id: int) -> str:
    """Give a crew's calendar a new secret and return it: the address with the old one is dead. Raises CrewUnknown."""
    secret = secrets.token_urlsafe(_SECRET_BYTES)
    if not store.save_calendar_secret(connection, crew_id, secret):
        raise CrewUnknown(f"no crew {crew_id} in this site")
    return secret


def calendar_secret(connection: Connection, crew_id: int) -> str:
    """The secret of a crew's calendar, for whoever asked to see its address. Raises CrewUnknown."""
    secret = store.read_calendar_secret(connection, crew_id)
    if secret is None:
        raise CrewUnknown(f"no crew {crew_id} in this site")
    return secret


def is_calendar_secret(connection: Connection, crew_id: int, given: str) -> bool:
    """Whether somebody holds the secret of a crew's calendar; a crew that is not there has none.

    Told in the same time for a wrong secret as for an unknown crew, and whatever of the secret is right.
    """
    secret = store.read_calendar_secret(connection, crew_id)
    # What stands in for an unknown crew's is made here and now, so that nobody can hold it.
    held = secret or secrets.token_urlsafe(_SECRET_BYTES)
    return secrets.compare_digest(held.encode(), given.encode()) and secret is not None


def add_outage(connection: Connection, wanted: OutageRequest) -> Outage:
    """Add an outage. Raises OutageUnfit with every fault, or OutageExists."""
    wanted, area_ids = _fit_outage(connection, wanted)
    _refuse_second_outage(connection, wanted, None)
    return read_outage(connection, store.add_outage(connection, wanted, area_ids))


def change_outage(connection: Connection, outage_id: int, wanted: OutageRequest, revision: int | None) -> Outage:
    """Make an outage as wanted, if it is still at the revision that was seen (None: whatever it is at).

    The next plan sees it, also where a plan has used it. Raises OutageUnfit, OutageUnknown, OutageChangedSince or
    OutageExists.
    """
    standing = read_outage(connection, outage_id)
    wanted, area_ids = _fit_outage(connection, wanted)
    _refuse_second_outage(connection, wanted, outage_id)
    if not store.save_outage(connection, outage_id, wanted, area_ids, revision):
        raise _outage_changed(standing, revision)
    return read_outage(connection, outage_id)


def remove_outage(connection: Connection, outage_id: int, revision: int | None) -> None:
    """Remove an outage that will not be. Raises OutageUnknown or OutageChangedSince."""
    standing = read_outage(connection, outage_id)
    if not store.remove_outage(connection, outage_id, revision):
        raise _outage_changed(standing, revision)


def _fit_crew(connection: Connection, wanted: CrewRequest) -> CrewRequest:
    """The crew with its families by their codes and its name on one line. Raises CrewUnfit with every fault."""
    name = _one_line(wanted.name)
    issues = list(_faults_of_name(name))
    minutes = tuple(float(each) for each in wanted.minutes_by_weekday)
    if len(minutes) != len(WEEKDAYS):
        issues.append(_issue("minutes_by_weekday", list(minutes), "give seven numbers, Monday first"))
    for weekday, each in zip(WEEKDAYS, minutes, strict=False):
        if not (math.isfinite(each) and 0 <= each <= MINUTES_OF_A_DAY):
            issues.append(_issue("minutes_by_weekday", each, f"{weekday} has 0 to {MINUTES_OF_A_DAY:.0f} minutes"))
    if not any(minutes):
        issues.append(_issue("minutes_by_weekday", list(minutes), "leaves no time at the joints on any day"))
    policy = current_policy(connection)
    codes: set[str] = set()
    for family in wanted.families:
        known = policy.family(family)
        if known is None:
            families = ", ".join(known.code for known in policy.families)
            issues.append(_issue("families", family, f"is no family of the policy; it has {families}"))
        else:
            codes.add(known.code)
    if wanted.shift_starts_at.tzinfo is not None:
        issues.append(_issue("shift_starts_at", wanted.shift_starts_at, "is by the site's clock: give no zone"))
    issues += _faults_of_days(wanted.from_on, wanted.until_on)
    if issues:
        raise CrewUnfit("the crew was refused", issues)
    return CrewRequest(name, minutes, tuple(sorted(codes)), wanted.shift_starts_at, wanted.from_on, wanted.until_on)


def _fit_outage(connection: Connection, wanted: OutageRequest) -> tuple[OutageRequest, tuple[int, ...]]:
    """The outage with its name on one line, and the numbers of its areas. Raises OutageUnfit with every fault."""
    name = _one_line(wanted.name)
    issues = [*_faults_of_name(name), *_faults_of_days(wanted.from_on, wanted.until_on)]
    area_ids: set[int] = set()
    if wanted.areas:
        plan = read_plan(connection)
        rows = list_areas(connection)
        by_name = {plain_name(row.name): row.area_id for row in rows}
        for area in wanted.areas:
            drawn = plan.area_named(area)
            area_id = by_name.get(plain_name(area)) if drawn is None else drawn.area_id
            if area_id is None:
                known = ", ".join(row.name for row in rows) or "none yet"
                issues.append(_issue("areas", area, f"is no area of this site; there is {known}"))
            else:
                area_ids.add(area_id)
    if issues:
        raise OutageUnfit("the outage was refused", issues)
    return replace(wanted, name=name), tuple(sorted(area_ids))


def _faults_of_name(name: str) -> Iterable[Issue]:
    if not name:
        yield _issue("name", None, "give it a name")
    elif len(name) > LONGEST_NAME:
        yield _issue("name", name, f"is longer than {LONGEST_NAME} characters")


def _faults_of_days(from_on: date | None, until_on: date | None) -> Iterable[Issue]:
    if from_on is not None and until_on is not None and until_on < from_on:
        yield _issue("until_on", until_on, "is before its first day")


def _refuse_second_crew(connection: Connection, name: str, own_id: int | None) -> None:
    standing = crew_by_name(connection, name)
    if standing is not None and standing.crew_id != own_id:
        raise CrewExists(f"there is a crew '{standing.name}' already")


def _refuse_second_outage(connection: Connection, wanted: OutageRequest, own_id: int | None) -> None:
    for standing in store.list_outages(connection):
        same = (standing.name, standing.from_on) == (wanted.name, wanted.from_on)
        if same and standing.outage_id != own_id:
            raise OutageExists(f"there is an outage '{standing.name}' from {standing.from_on} already")


def _is_there(crew: Crew, from_on: date, until_on: date) -> bool:
    return (crew.from_on is None or crew.from_on <= until_on) and (crew.until_on is None or from_on <= crew.until_on)


def _crew_changed(standing: Crew, revision: int | None) -> CrewChangedSince:
    return CrewChangedSince(
        f"{standing.name} was changed in between: it is at revision {standing.revision}, not {revision}"
    )


def _outage_changed(standing: Outage, revision: int | None) -> OutageChangedSince:
    return OutageChangedSince(
        f"{standing.name} was changed in between: it is at revision {standing.revision}, not {revision}"
    )


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _issue(column: str, value: object, reason: str) -> Issue:
    return Issue(None, column, None if value is None else str(value), reason)
