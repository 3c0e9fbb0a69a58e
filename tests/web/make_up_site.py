"""A site with one half-inch medium-pressure fitting, two wrenches and qualified people, over the whole application."""

from datetime import UTC, date, datetime, timedelta

from registry.db import Database
from registry.intervals.service import score_plant
from registry.joints.store import add_new_families, add_new_services
from registry.policy.service import publish_first
from tests.conftest import new_site
from tests.database.made_up import add_tool
from tests.database.small_site import new_intake

TAG = "SP/HYC-001"
GOOD_WRENCH, EXPIRED_WRENCH = "TW-015", "TW-014"
ANSWERS = {
    "tube-end": "yes",
    "depth-mark": "no",
    "inserted": "yes",
    "lubricated": "yes",
    "finger-tight": "yes",
    "witness-mark": "yes",
    "torqued": "150",
    "turned-by-torque": "1.0",
    "gap-gauge": "no",
    "gap-gauge-tool": "GG-002",
    "ferrule-lot": "F-77",
}
"""Of a half-inch medium-pressure fitting by torque, all as it should be, but for the wrench."""


def today() -> date:
    return datetime.now(UTC).date()


def add_make_up_site(database: Database, code: str) -> int:
    """Make the site and return its number."""
    site_id = new_site(database, code)
    with database.transaction(site_id) as connection:
        publish_first(connection)
        add_new_families(connection)
        add_new_services(connection)
        connection.execute(
            "INSERT INTO joint (site_id, tag, family_id, service_id, size_mm, location, pressure_barg, intake_id)"
            " SELECT current_site(), %s, f.family_id, s.service_id, 12.7, point(50, 60), 300, %s"
            " FROM family f, service s"
            " WHERE f.site_id = current_site() AND s.site_id = current_site() AND f.code = 'ferrule_mp'"
            " AND s.name = 'hydrogen'",
            [TAG, new_intake(connection)],
        )
        day, year = today(), timedelta(days=365)
        add_tool(connection, GOOD_WRENCH, (str(day - timedelta(days=30)), str(day + year), "in tolerance"))
        add_tool(connection, EXPIRED_WRENCH, (str(day - 2 * year), str(day - year), "in tolerance"))
        connection.execute("INSERT INTO tool (site_id, serial, kind) VALUES (current_site(), 'GG-002', 'gap_gauge')")
        for name in ("Ada Marsh", "Wim Reed"):
            connection.execute(
                "WITH p AS (INSERT INTO person (site_id, name) VALUES (current_site(), %s) RETURNING person_id)"
                " INSERT INTO qualification (site_id, person_id, valid_from_on, valid_until_on, certificate)"
                " SELECT current_site(), person_id, %s, %s, 'Q-1' FROM p",
                [name, day - year, day + timedelta(days=20)],
            )
        score_plant(connection, day)
    return site_id
