"""Leaks by area: what counts as exposure, what as open, and limits that are exact."""

from datetime import date

import pytest
from scipy.stats import chi2

from registry.db import Connection
from registry.leaks.model import AreaRate, LeakRates
from registry.leaks.service import area_rates
from tests.database.small_site import fill_site, number

END = date(2026, 1, 1)


@pytest.fixture
def ids(connection: Connection) -> dict[str, int]:
    """Ten joints with empty ledgers, all in one area but the last, which is in none; nothing says since when."""
    fill_site(connection, 10)
    for statement in (
        "ALTER TABLE leak DISABLE TRIGGER USER",
        "ALTER TABLE check_result DISABLE TRIGGER USER",
        "ALTER TABLE make_up DISABLE TRIGGER USER",
        "DELETE FROM leak",
        "DELETE FROM check_result",
        "DELETE FROM make_up",
        "ALTER TABLE leak ENABLE TRIGGER USER",
        "ALTER TABLE check_result ENABLE TRIGGER USER",
        "ALTER TABLE make_up ENABLE TRIGGER USER",
    ):
        connection.execute("RESET ROLE")
        connection.execute(statement)
    connection.execute("SET ROLE jointwright_app")
    connection.execute(
        "UPDATE joint SET made_up_on = NULL, area_id = CASE WHEN tag = 'J-00009' THEN NULL ELSE"
        " (SELECT area_id FROM area WHERE name = 'Jetty' AND site_id = current_site()) END"
    )
    return dict(connection.execute("SELECT tag, joint_id FROM joint WHERE site_id = current_site()").fetchall())


def leak(connection: Connection, joint: int, day: str, severity: str = "weep", supersedes: int | None = None) -> int:
    return number(
        connection,
        "INSERT INTO leak (site_id, joint_id, observed_at, severity, found_during, supersedes, reason)"
        " VALUES (current_site(), %s, %s, %s, 'operation', %s, 'corrected') RETURNING leak_id",
        joint,
        f"{day} 12:00+00",
        severity,
        supersedes,
    )


def repair(connection: Connection, leak_id: int, day: str) -> None:
    connection.execute(
        "INSERT INTO leak_step (site_id, leak_id, step, observed_at) VALUES (current_site(), %s, 'repaired', %s)",
        [leak_id, f"{day} 12:00+00"],
    )


def area(rates: LeakRates, name: str | None) -> AreaRate:
    return next(rate for rate in rates.areas if rate.count.area == name)


def test_before_anything_is_recorded_nothing_is_said(connection: Connection, ids: dict[str, int]) -> None:
    rates = area_rates(connection, None, END)
    assert rates.since_on is None
    assert (rates.whole_site.count.leaks, rates.whole_site.leaks_per_1000_joint_years) == (0, None)


def test_rates_are_counts_over_joint_years_with_exact_limits(connection: Connection, ids: dict[str, int]) -> None:
    leak(connection, ids["J-00000"], "2024-01-01")
    leak(connection, ids["J-00001"], "2024-07-01", "drip")
    leak(connection, ids["J-00001"], "2025-07-01", "spray")
    leak(connection, ids["J-00009"], "2025-07-01")
    rates = area_rates(connection, None, END)
    assert rates.since_on == date(2024, 1, 1)
    jetty, nowhere = area(rates, "Jetty"), area(rates, None)
    years = (END - date(2024, 1, 1)).days / 365.25
    assert jetty.count.joint_years == pytest.approx(9 * years)
    assert nowhere.count.joint_years == pytest.approx(years)
    assert (jetty.count.leaks, jetty.count.weeps, jetty.count.drips, jetty.count.sprays) == (3, 1, 1, 1)
    assert jetty.leaks_per_1000_joint_years == pytest.approx(3000 / (9 * years))
    assert jetty.lower_limit == pytest.approx(500 * chi2.ppf(0.025, 6) / (9 * years), rel=1e-9)
    assert jetty.upper_limit == pytest.approx(500 * chi2.ppf(0.975, 8) / (9 * years), rel=1e-9)
    assert rates.whole_site.count.leaks == 4
    assert rates.whole_site.leaks_per_1000_joint_years == pytest.approx(4000 / (10 * years))


def test_an_area_without_a_leak_has_an_upper_limit_all_the_same(connection: Connection, ids: dict[str, int]) -> None:
    leak(connection, ids["J-00009"], "2024-01-01")
    jetty = area(area_rates(connection, None, END), "Jetty")
    assert (jetty.leaks_per_1000_joint_years, jetty.lower_limit) == (0.0, 0.0)
    assert jetty.upper_limit == pytest.approx(1000 * 3.6889 / jetty.count.joint_years, rel=1e-4)


def test_a_joint_counts_from_its_first_make_up_unless_it_was_seen_before(
    connection: Connection, ids: dict[str, int]
) -> None:
    leak(connection, ids["J-00009"], "2020-01-01")
    connection.execute("UPDATE joint SET made_up_on = '2025-01-01' WHERE tag <> 'J-00009'")
    # Re-made in 2025, but checked in 2023: it stood there before that make-up, and nothing says since when.
    connection.execute(
        "INSERT INTO check_result (site_id, joint_id, observed_at, result)"
        " VALUES (current_site(), %s, '2023-01-01 00:00+00', 'tight')",
        [ids["J-00000"]],
    )
    connection.execute(
        "INSERT INTO make_up (site_id, joint_id, made_up_on, verdict)"
        " VALUES (current_site(), %s, '2024-01-01', 'accepted')",
        [ids["J-00001"]],
    )
    jetty = area(area_rates(connection, None, END), "Jetty")
    days = (END - date(2020, 1, 1)).days + (END - date(2024, 1, 1)).days + 7 * 365
    assert jetty.count.joint_years == pytest.approx(days / 365.25)


def test_a_window_counts_what_lies_in_it_and_open_leaks_of_any_age(connection: Connection, ids: dict[str, int]) -> None:
    old = leak(connection, ids["J-00000"], "2022-03-01")
    leak(connection, ids["J-00001"], "2023-03-01")
    recent = leak(connection, ids["J-00002"], "2025-03-01")
    repair(connection, old, "2022-03-11")
    repair(connection, recent, "2025-03-05")
    leak(connection, ids["J-00003"], "2026-03-01")
    jetty = area(area_rates(connection, date(2025, 1, 1), END), "Jetty").count
    assert (jetty.leaks, jetty.open_now, jetty.repaired) == (1, 1, 1)
    assert jetty.oldest_open_days == (END - date(2023, 3, 1)).days
    assert jetty.median_repair_days == pytest.approx(4.0)
    assert jetty.joint_years == pytest.approx(9 * 365 / 365.25)
    before = area(area_rates(connection, None, date(2022, 3, 5)), "Jetty").count
    assert (before.leaks, before.open_now) == (1, 1)


def test_a_corrected_leak_counts_once(connection: Connection, ids: dict[str, int]) -> None:
    wrong = leak(connection, ids["J-00000"], "2024-01-01")
    leak(connection, ids["J-00009"], "2024-01-01", supersedes=wrong)
    rates = area_rates(connection, None, END)
    assert (area(rates, "Jetty").count.leaks, area(rates, None).count.leaks) == (0, 1)
