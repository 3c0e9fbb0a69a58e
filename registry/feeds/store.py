"""What a crew's calendar is made of, read from the plan and the routes."""

from datetime import date

from psycopg.rows import class_row

from registry.db import Connection
from registry.feeds.model import FeedBundle, FeedPlan, FeedRoute
from registry.named_sql import queries_beside

SQL = queries_beside(__file__)


def read_feed_plan(connection: Connection) -> FeedPlan | None:
    """The newest plan, or None where there is none."""
    with connection.cursor(row_factory=class_row(FeedPlan)) as cursor:
        return cursor.execute(SQL["read_feed_plan"]).fetchone()


def list_feed_bundles(
    connection: Connection, plan_run_id: int, crew_id: int, from_on: date, until_on: date
) -> list[FeedBundle]:
    """What a plan has for a crew in the weeks that begin within some days, by week and area."""
    given = {"plan_run_id": plan_run_id, "crew_id": crew_id, "from_on": from_on, "until_on": until_on}
    with connection.cursor(row_factory=class_row(FeedBundle)) as cursor:
        return cursor.execute(SQL["list_feed_bundles"], given).fetchall()


def list_feed_routes(connection: Connection, crew: str, from_on: date) -> list[FeedRoute]:
    """The walks of the crew of a name from a day on."""
    with connection.cursor(row_factory=class_row(FeedRoute)) as cursor:
        return cursor.execute(SQL["list_feed_routes"], {"crew": crew, "from_on": from_on}).fetchall()
