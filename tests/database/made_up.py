"""Make-ups with tools, fitters and lots straight in the tables, for tests of what is made of them."""

from collections.abc import Sequence
from datetime import date

from registry.db import Connection
from tests.database.small_site import number


def add_tool(connection: Connection, serial: str, *calibrations: tuple[str, str, str]) -> int:
    """A torque wrench with its calibrations: day, valid until, as found."""
    tool_id = number(
        connection,
        "INSERT INTO tool (site_id, serial, kind) VALUES (current_site(), %s, 'torque_wrench') RETURNING tool_id",
        serial,
    )
    for calibrated_on, valid_until_on, as_found in calibrations:
        connection.execute(
            "INSERT INTO calibration (site_id, tool_id, calibrated_on, valid_until_on, as_found, certificate)"
            " VALUES (current_site(), %s, %s, %s, %s, 'C-1')",
            [tool_id, calibrated_on, valid_until_on, as_found],
        )
    return tool_id


def make_up(
    connection: Connection,
    tag: str,
    made_up_on: date | str,
    *,
    fitter: str = "A. Fitter",
    verdict: str = "accepted",
    tools: Sequence[int] = (),
    lots: Sequence[tuple[str, str]] = (),
) -> int:
    """A make-up of a joint; returns its number."""
    make_up_id = number(
        connection,
        "INSERT INTO make_up (site_id, joint_id, made_up_on, fitter, witness, method, verdict)"
        " SELECT site_id, joint_id, %s::date, %s, 'W. Witness', 'torque', %s FROM joint"
        " WHERE site_id = current_site() AND tag = %s RETURNING make_up_id",
        made_up_on,
        fitter,
        verdict,
        tag,
    )
    for tool_id in tools:
        connection.execute(
            "INSERT INTO make_up_tool (site_id, make_up_id, tool_id) VALUES (current_site(), %s, %s)",
            [make_up_id, tool_id],
        )
    for kind, lot in lots:
        connection.execute(
            "INSERT INTO make_up_lot (site_id, make_up_id, kind, lot) VALUES (current_site(), %s, %s, %s)",
            [make_up_id, kind, lot],
        )
    return make_up_id
