"""The way to the database: a pool whose connections work as the application's role, one site a transaction."""

from collections.abc import Generator
from contextlib import contextmanager
from types import TracebackType
from typing import Any, Self

import psycopg
from psycopg import sql
from psycopg_pool import ConnectionPool, PoolTimeout

from registry.errors import BY_CONSTRAINT, Unavailable

Connection = psycopg.Connection[tuple[Any, ...]]

APPLICATION_ROLE = "jointwright_app"


class DatabaseUnreachable(Unavailable):
    """The database cannot be reached"""

    slug = "database-unreachable"


class Database:
    """A PostgreSQL database and the pool of connections to it.

    `transaction()` is where all of the application's work happens; `owner()` is for changes of the schema and for
    making sites. Use it as a context manager, or call `close()`.
    """

    def __init__(self, url: str, *, most_connections: int = 10) -> None:
        self.url = url
        self._pool: ConnectionPool[Connection] = ConnectionPool(
            url,
            min_size=0,
            max_size=most_connections,
            open=True,
            timeout=10,
            reconnect_timeout=10,
            check=ConnectionPool.check_connection,
            configure=_work_as_application,
            kwargs={"application_name": "jointwright"},
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End every connection of the pool."""
        self._pool.close()

    @contextmanager
    def transaction(self, site_id: int | None = None) -> Generator[Connection]:
        """One transaction as the application's role, seeing the rows of `site_id` and no others.

        Commits when the block ends, rolls back when it raises. A broken constraint that a capability has named comes
        out as that capability's error. Raises DatabaseUnreachable when there is no connection to be had.
        """
        with errors_translated(), self._pool.connection() as connection:
            connection.execute(
                "SELECT set_config('jointwright.site_id', %s, true)", ["" if site_id is None else str(site_id)]
            )
            yield connection

    @contextmanager
    def owner(self) -> Generator[Connection]:
        """One transaction as the user of the URL, who owns the schema."""
        with errors_translated(), psycopg.connect(self.url, application_name="jointwright owner") as connection:
            yield connection


@contextmanager
def errors_translated() -> Generator[None]:
    """Turn the driver's errors into ours: a named constraint into its leaf, a lost server into DatabaseUnreachable.

    An error that nobody has named passes through as it is, for it is a fault of ours.
    """
    try:
        yield
    except psycopg.IntegrityError as exc:
        leaf = BY_CONSTRAINT.get(exc.diag.constraint_name or "")
        if leaf is None:
            raise
        raise leaf(exc.diag.message_detail or exc.diag.message_primary or str(exc)) from exc
    except (psycopg.OperationalError, PoolTimeout) as exc:
        # Class 08 is the connection's, 57 the server's going away; the pool's own error has no state.
        if exc.sqlstate is not None and exc.sqlstate[:2] not in ("08", "57"):
            raise
        raise DatabaseUnreachable(f"no connection to the database: {exc}".strip()) from exc


def _work_as_application(connection: Connection) -> None:
    connection.execute(sql.SQL("SET ROLE {}").format(sql.Identifier(APPLICATION_ROLE)))
    connection.execute("SET timezone = 'UTC'")
    connection.commit()
