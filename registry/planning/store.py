"""Plans written and read."""

from psycopg.rows import class_row

from registry.db import Connection
from registry.named_sql import queries_beside
from registry.planning.model import Plan

SQL = queries_beside(__file__)


def read_current_plan(connection: Connection) -> Plan | None:
    """The newest plan."""
    with connection.cursor(row_factory=class_row(Plan)) as cursor:
        return cursor.execute(SQL["read_current_plan"]).fetchone()
