"""The newest facts of each joint: kept by what is added, whatever its order, and put right by a correction."""

from typing import Any

import pytest

from registry.db import Connection
from tests.database.small_site import fill_site, number

pytestmark = pytest.mark.each_server


@pytest.fixture
def joints(connection: Connection) -> list[int]:
    fill_site(connection, 20)
    rows = connection.execute(
        "SELECT joint_id FROM joint j WHERE site_id = current_site()"
        " AND NOT EXISTS (SELECT FROM check_result c WHERE c.joint_id = j.joint_id)"
        " AND NOT EXISTS (SELECT FROM make_up m WHERE m.joint_id = j.joint_id) ORDER BY 1"
    ).fetchall()
    return [row[0] for row in rows]


def check(connection: Connection, joint: int, day: str, result: str, supersedes: int | None = None) -> int:
    return number(
        connection,
        "INSERT INTO check_result (site_id, joint_id, observed_at, result, supersedes, reason)"
        " VALUES (current_site(), %s, %s, %s, %s, %s) RETURNING check_result_id",
        joint,
        f"{day} 12:00+00",
        result,
        supersedes,
        None if supersedes is None else "wrong joint",
    )


def last_check(connection: Connection, joint: int) -> Any:
    return connection.execute(
        "SELECT satisfactory_at::date::text, checked_at::date::text, result FROM joint_last_check WHERE joint_id = %s",
        [joint],
    ).fetchone()


def make_up(connection: Connection, joint: int, day: str, verdict: str, supersedes: int | None = None) -> int:
    return number(
        connection,
        "INSERT INTO make_up (site_id, joint_id, made_up_on, verdict, supersedes, reason)"
        " VALUES (current_site(), %s, %s, %s, %s, %s) RETURNING make_up_id",
        joint,
        day,
        verdict,
        supersedes,
        None if supersedes is None else "wrong day",
    )


def last_make_up(connection: Connection, joint: int) -> Any:
    return connection.execute(
        "SELECT made_up_on::text, accepted FROM joint_last_make_up WHERE joint_id = %s", [joint]
    ).fetchone()


def test_an_older_check_recorded_later_moves_nothing_back(connection: Connection, joints: list[int]) -> None:
    check(connection, joints[0], "2026-05-01", "tight")
    check(connection, joints[0], "2026-08-01", "weeping")
    check(connection, joints[0], "2026-01-01", "tight")
    assert last_check(connection, joints[0]) == ("2026-05-01", "2026-08-01", "weeping")


def test_not_reached_counts_as_no_check(connection: Connection, joints: list[int]) -> None:
    check(connection, joints[0], "2026-05-01", "not_reached")
    assert last_check(connection, joints[0]) is None


def test_a_correction_to_another_joint_puts_both_right(connection: Connection, joints: list[int]) -> None:
    check(connection, joints[0], "2026-05-01", "tight")
    wrong = check(connection, joints[0], "2026-08-01", "tight")
    check(connection, joints[1], "2026-08-01", "tight", supersedes=wrong)
    assert last_check(connection, joints[0]) == ("2026-05-01", "2026-05-01", "tight")
    assert last_check(connection, joints[1]) == ("2026-08-01", "2026-08-01", "tight")


def test_a_correction_can_leave_a_joint_without_a_check(connection: Connection, joints: list[int]) -> None:
    wrong = check(connection, joints[0], "2026-08-01", "tight")
    check(connection, joints[1], "2026-08-01", "tight", supersedes=wrong)
    assert last_check(connection, joints[0]) is None


def test_many_checks_in_one_statement_keep_the_newest_of_each_joint(connection: Connection, joints: list[int]) -> None:
    connection.execute(
        "INSERT INTO check_result (site_id, joint_id, observed_at, result) SELECT current_site(), j, d, 'tight'"
        " FROM unnest(%s::int[]) j, generate_series('2024-01-01'::timestamptz, '2026-01-01', '1 month') d"
        " ORDER BY d DESC",
        [joints],
    )
    assert {last_check(connection, joint) for joint in joints} == {("2026-01-01", "2026-01-01", "tight")}


def test_an_older_make_up_recorded_later_does_not_count(connection: Connection, joints: list[int]) -> None:
    make_up(connection, joints[0], "2026-03-01", "not accepted")
    make_up(connection, joints[0], "2025-03-01", "accepted")
    assert last_make_up(connection, joints[0]) == ("2026-03-01", False)


def test_of_two_make_ups_on_one_day_the_later_recorded_counts(connection: Connection, joints: list[int]) -> None:
    make_up(connection, joints[0], "2026-03-01", "not accepted")
    make_up(connection, joints[0], "2026-03-01", "accepted")
    assert last_make_up(connection, joints[0]) == ("2026-03-01", True)


def test_a_corrected_make_up_goes_back_to_the_one_before(connection: Connection, joints: list[int]) -> None:
    make_up(connection, joints[0], "2025-03-01", "accepted")
    wrong = make_up(connection, joints[0], "2026-03-01", "accepted")
    make_up(connection, joints[0], "2024-03-01", "accepted", supersedes=wrong)
    assert last_make_up(connection, joints[0]) == ("2025-03-01", True)
