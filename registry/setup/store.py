"""What the server says of itself, and a site's ledgers held row by row against their hashes."""

from psycopg.rows import class_row

from registry.db import Connection
from registry.named_sql import queries_beside
from registry.setup.model import Break, LedgerState, Server

SQL = queries_beside(__file__)


def read_server(owner: Connection) -> Server:
    """The server's version and encoding, and whether the application's role is as bound as it must be."""
    with owner.cursor(row_factory=class_row(Server)) as cursor:
        server = cursor.execute(SQL["read_server"]).fetchone()
    assert server is not None, "the query gives one row"
    return server


def read_ledger_state(connection: Connection, ledger: str, *, most_breaks: int = 20) -> LedgerState:
    """How one of LEDGERS stands in the transaction's site; some seconds for a million rows."""
    connection.execute(SQL["set_as_hashed"])
    counted = connection.execute(SQL[f"count_{ledger}"]).fetchone()
    assert counted is not None, "count(*) gives a row"
    with connection.cursor(row_factory=class_row(Break)) as cursor:
        breaks = cursor.execute(SQL[f"list_breaks_of_{ledger}"], {"most": most_breaks}).fetchall()
    return LedgerState(ledger, int(counted[0]), tuple(breaks))
