"""Crews, their days off and outages, written and read."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from psycopg.rows import class_row, kwargs_row

from registry.crews.model import Crew, CrewAbsence, CrewRequest, Outage, OutageRequest
from registry.db import Connection
from registry.named_sql import queries_beside

SQL = queries_beside(__file__)


def list_crews(connection: Connection, *, crew_id: int | None = None, name: str | None = None) -> list[Crew]:
    """Crews by name: all, or one by its number or by its name in whatever letters."""
    with connection.cursor(row_factory=kwargs_row(_crew)) as cursor:
        return cursor.execute(SQL["list_crews"], {"crew_id": crew_id, "name": name}).fetchall()


def add_crew(connection: Connection, wanted: CrewRequest, calendar_secret: str) -> Crew:
    """Add a crew with the secret of its calendar. Raises CrewExists."""
    with connection.cursor(row_factory=kwargs_row(_crew)) as cursor:
        crew = cursor.execute(SQL["add_crew"], {**_columns(wanted), "calendar_secret": calendar_secret}).fetchone()
    assert crew is not None, "INSERT … RETURNING gives its row"
    return crew


def save_crew(connection: Connection, crew_id: int, wanted: CrewRequest, revision: int | None) -> Crew | None:
    """Change a crew that is at the given revision (None: at any) and return it, or None where it is not."""
    given = {**_columns(wanted), "crew_id": crew_id, "revision": revision}
    with connection.cursor(row_factory=kwargs_row(_crew)) as cursor:
        return cursor.execute(SQL["save_crew"], given).fetchone()


def raise_crew_revisions(connection: Connection, crew_ids: Sequence[int]) -> None:
    """Note on crews that something that hangs on them has changed."""
    connection.execute(SQL["raise_crew_revisions"], {"crew_ids": list(crew_ids)})


def read_calendar_secret(connection: Connection, crew_id: int) -> str | None:
    """The secret of a crew's calendar, or None where there is no such crew."""
    row = connection.execute(SQL["read_calendar_secret"], {"crew_id": crew_id}).fetchone()
    return None if row is None else str(row[0])


def save_calendar_secret(connection: Connection, crew_id: int, calendar_secret: str) -> int:
    """Give a crew's calendar another secret, and return whether there is such a crew (1 or 0)."""
    given = {"crew_id": crew_id, "calendar_secret": calendar_secret}
    return connection.execute(SQL["save_calendar_secret"], given).rowcount


def list_absences(connection: Connection, crew_id: int | None = None) -> list[CrewAbsence]:
    """Days off, the first to come first: of all crews, or of one."""
    with connection.cursor(row_factory=class_row(CrewAbsence)) as cursor:
        return cursor.execute(SQL["list_absences"], {"crew_id": crew_id}).fetchall()


def add_absences(
    connection: Connection, crew_ids: Sequence[int], from_on: date, until_on: date, reason: str
) -> list[CrewAbsence]:
    """Add the same days off to some crews, and return those that are new."""
    given = {"crew_ids": list(crew_ids), "from_on": from_on, "until_on": until_on, "reason": reason}
    with connection.cursor(row_factory=class_row(CrewAbsence)) as cursor:
        return cursor.execute(SQL["add_absences"], given).fetchall()


def remove_absence(connection: Connection, crew_id: int, crew_absence_id: int) -> int:
    """Remove a crew's days off, and return whether they were there (1 or 0)."""
    given = {"crew_id": crew_id, "crew_absence_id": crew_absence_id}
    return connection.execute(SQL["remove_absence"], given).rowcount


def list_outages(connection: Connection, outage_id: int | None = None) -> list[Outage]:
    """Outages with their areas, the first to come first: all, or one."""
    with connection.cursor(row_factory=kwargs_row(_outage)) as cursor:
        return cursor.execute(SQL["list_outages"], {"outage_id": outage_id}).fetchall()


def add_outage(connection: Connection, wanted: OutageRequest, area_ids: Sequence[int]) -> int:
    """Add an outage of some areas (none: of the whole site) and return its number. Raises OutageExists."""
    given = {"name": wanted.name, "from_on": wanted.from_on, "until_on": wanted.until_on}
    row = connection.execute(SQL["add_outage"], given).fetchone()
    assert row is not None, "INSERT … RETURNING gives its row"
    connection.execute(SQL["add_outage_areas"], {"outage_id": row[0], "area_ids": list(area_ids)})
    return int(row[0])


def save_outage(
    connection: Connection, outage_id: int, wanted: OutageRequest, area_ids: Sequence[int], revision: int | None
) -> bool:
    """Change an outage that is at the given revision (None: at any), and return whether it was. Raises OutageExists."""
    given = {
        "outage_id": outage_id,
        "name": wanted.name,
        "from_on": wanted.from_on,
        "until_on": wanted.until_on,
        "revision": revision,
    }
    if connection.execute(SQL["save_outage"], given).fetchone() is None:
        return False
    connection.execute(SQL["clear_outage_areas"], {"outage_id": outage_id})
    connection.execute(SQL["add_outage_areas"], {"outage_id": outage_id, "area_ids": list(area_ids)})
    return True


def remove_outage(connection: Connection, outage_id: int, revision: int | None) -> int:
    """Remove an outage that is at the given revision (None: at any), and return whether it was (1 or 0)."""
    return connection.execute(SQL["remove_outage"], {"outage_id": outage_id, "revision": revision}).rowcount


def _columns(wanted: CrewRequest) -> dict[str, Any]:
    return {
        "name": wanted.name,
        "families": list(wanted.families),
        "minutes_by_weekday": [float(minutes) for minutes in wanted.minutes_by_weekday],
        "shift_starts_at": wanted.shift_starts_at,
        "from_on": wanted.from_on,
        "until_on": wanted.until_on,
    }


def _crew(*, families: list[str], minutes_by_weekday: list[float], **rest: Any) -> Crew:
    return Crew(families=tuple(families), minutes_by_weekday=tuple(minutes_by_weekday), **rest)


def _outage(*, area_ids: list[int], areas: list[str], **rest: Any) -> Outage:
    return Outage(area_ids=tuple(area_ids), areas=tuple(areas), **rest)
