"""A small site with scores, three crews and an outage, and a look at its plan that goes past the services."""

from datetime import date, timedelta
from typing import NamedTuple

from registry.crews.model import CrewRequest, OutageRequest
from registry.crews.service import add_crew, add_outage
from registry.db import Connection
from registry.intervals.service import score_plant
from registry.planning.model import PlanRequest, PlanSummary
from registry.planning.service import make_plan
from tests.database.small_site import AS_OF, fill_site

MONDAY = AS_OF - timedelta(days=AS_OF.weekday())
WEEKS = 26
OUTAGE_FROM = MONDAY + timedelta(weeks=7)
OUTAGE_AREA = "Hydrogen compression"
FLANGES = ("flanged", "clamp_hub")
TUBES = ("twin_ferrule", "cone_thread", "ferrule_mp", "union", "taper_thread")


class Place(NamedTuple):
    """Where a check stands; None: in no week."""

    week: date | None
    crew_id: int | None


def fill_planned_site(connection: Connection, joints: int = 150, *, hours: float = 1.0) -> dict[str, int]:
    """Fill and score the site of the transaction, and give it crews of so many hours a day; their numbers by name."""
    fill_site(connection, joints)
    connection.execute(
        "UPDATE joint SET requires_outage = true WHERE joint_id %% 12 = 0"
        " AND area_id = (SELECT area_id FROM area WHERE name = %s)",
        [OUTAGE_AREA],
    )
    score_plant(connection, AS_OF)
    days = (hours * 60.0,) * 5 + (0.0, 0.0)
    crews = {
        name: add_crew(connection, CrewRequest(name, days, families)).crew_id
        for name, families in (("All", ()), ("Flanges", FLANGES), ("Tubes", TUBES))
    }
    add_outage(connection, OutageRequest("Overhaul", OUTAGE_FROM, OUTAGE_FROM + timedelta(days=11), (OUTAGE_AREA,)))
    return crews


def planned(
    connection: Connection, today: date = AS_OF, *, weeks: int = WEEKS, starts_on: date = MONDAY
) -> PlanSummary:
    """Make a plan of a planned site."""
    return make_plan(connection, PlanRequest(starts_on, weeks), today, "P. Planner")


def places(connection: Connection) -> dict[tuple[int, int], Place]:
    """Where each check of the newest plan stands, by joint and occurrence, as the table has it."""
    rows = connection.execute(
        "SELECT joint_id, occurrence, week_starting_on, crew_id FROM planned_check"
        " WHERE plan_run_id = (SELECT max(plan_run_id) FROM plan_run)"
    ).fetchall()
    return {(joint, occurrence): Place(week, crew) for joint, occurrence, week, crew in rows}


def recorded_moves(connection: Connection) -> dict[tuple[int, int], tuple[Place, Place]]:
    """From where to where the newest plan moved each check, by joint and occurrence."""
    rows = connection.execute(
        "SELECT joint_id, occurrence, from_week, from_crew_id, to_week, to_crew_id FROM plan_move"
        " WHERE plan_run_id = (SELECT max(plan_run_id) FROM plan_run) AND moved_by IS NULL"
    ).fetchall()
    found = {(row[0], row[1]): (Place(*row[2:4]), Place(*row[4:6])) for row in rows}
    assert len(found) == len(rows), "a check is moved once"
    return found


def hours_kept(connection: Connection) -> None:
    """Assert that no crew's week of the newest plan holds more than the crew's time."""
    rows = connection.execute(
        "SELECT p.crew_id, p.week_starting_on, sum(p.minutes), max(c.minutes) FROM planned_check p"
        " JOIN plan_capacity c USING (site_id, plan_run_id, crew_id, week_starting_on)"
        " WHERE p.plan_run_id = (SELECT max(plan_run_id) FROM plan_run) GROUP BY 1, 2"
    ).fetchall()
    assert rows
    assert not [row for row in rows if row[2] > row[3] + 1e-6]
