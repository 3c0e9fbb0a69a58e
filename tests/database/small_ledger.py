"""A joint, and rows for each ledger, with nothing else around them."""

from datetime import UTC, date, datetime, timedelta

from registry.db import Connection

EPOCH = datetime(2026, 1, 1, 6, 30, tzinfo=UTC)


def add_joint(connection: Connection, site_id: int, tag: str) -> int:
    """A joint and the intake that brought it; returns its number."""
    intake = connection.execute(
        "INSERT INTO intake (site_id, kind, source_name, content_sha256, rows_read, rows_loaded, rows_refused)"
        " VALUES (%s, 'joints', 'x.csv', '\\x00', 1, 1, 0) RETURNING intake_id",
        [site_id],
    ).fetchone()
    assert intake is not None
    joint = connection.execute(
        "INSERT INTO joint (site_id, tag, family_id, service_id, location, pressure_barg, intake_id)"
        " VALUES (%s, %s, 1, 1, point(1, 2), 10, %s) RETURNING joint_id",
        [site_id, tag, intake[0]],
    ).fetchone()
    assert joint is not None
    return int(joint[0])


def add_row(connection: Connection, ledger: str, site_id: int, joint_id: int, number: int = 0) -> int:
    """One row of a ledger, with fractions, words and times in it; returns its number."""
    at = EPOCH + timedelta(minutes=number, microseconds=number)
    if ledger == "leak_step":
        leak_id = add_row(connection, "leak", site_id, joint_id, number)
        columns = {"leak_id": leak_id, "step": "repaired", "observed_at": at, "done_by": "A. Fitter"}
    else:
        columns = {
            "make_up": {"made_up_on": date(2026, 1, 1), "fitter": f"Ünïcode {number}", "verdict": "accepted"},
            "check_result": {
                "observed_at": at,
                "result": "tight",
                "screening_ppmv": number / 7,
                "notes": "a 'quoted' \\ note",
            },
            "leak": {"observed_at": at, "severity": "weep", "found_during": "check", "screening_ppmv": 0.1 + number},
        }[ledger]
        columns = {"joint_id": joint_id, **columns}
    names, places = ", ".join(columns), ", ".join(["%s"] * len(columns))
    row = connection.execute(
        f"INSERT INTO {ledger} (site_id, {names}) VALUES (%s, {places}) RETURNING {ledger}_id".encode(),
        [site_id, *columns.values()],
    ).fetchone()
    assert row is not None
    return int(row[0])
