"""Plans, crews and outages for tests that need some."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from typing import Any

from registry.crews.model import Crew, Outage
from registry.planning.model import CrewWeek, Plan, PlanSummary

MONDAY = date(2026, 3, 2)
OFFICE_HOURS = (480.0, 480.0, 480.0, 480.0, 480.0, 0.0, 0.0)


def a_plan(**changes: Any) -> Plan:
    """A plan of 20 weeks, two of them frozen and ten planned."""
    given: dict[str, Any] = {
        "plan_run_id": 3,
        "score_run_id": 1,
        "policy_version": 1,
        "starts_on": MONDAY,
        "weeks": 20,
        "frozen_weeks": 2,
        "planned_weeks": 10,
        "late_minutes": 60.0,
        "early_minutes": 30.0,
        "visit_minutes": 120.0,
        "moved_minutes": 0.0,
        "unplaced_minutes": 90.0,
        "bound_minutes": 299.0,
        "solving_seconds": 0.1,
        "made_by": "P. Planner",
        "recorded_at": datetime(2026, 3, 1, 9, tzinfo=UTC),
    }
    return Plan(**(given | changes))


def a_crew(crew_id: int = 1, name: str = "Crew A", **changes: Any) -> Crew:
    """A crew of 40 hours a week."""
    given: dict[str, Any] = {
        "families": (),
        "minutes_by_weekday": OFFICE_HOURS,
        "shift_starts_at": time(7),
        "from_on": None,
        "until_on": None,
        "revision": 1,
        "recorded_at": datetime(2026, 1, 1, tzinfo=UTC),
    }
    return Crew(crew_id, name, **(given | changes))


def an_outage(from_on: date, until_on: date, *areas: str) -> Outage:
    """An outage of some areas, or of the whole site."""
    return Outage(4, "Overhaul", from_on, until_on, tuple(range(1, len(areas) + 1)), 1, areas)


def a_crew_week(week: date, crew_id: int = 1, **changes: Any) -> CrewWeek:
    """A crew's week of ten checks that fill half of it, two of them late."""
    given: dict[str, Any] = {
        "crew": "Crew A",
        "checks": 10,
        "minutes": 1200.0,
        "capacity_minutes": 2400.0,
        "late": 2,
        "early": 1,
        "done": 0,
        "pinned": 0,
        "worth_minutes": 0.0,
    }
    return CrewWeek(week, crew_id, **(given | changes))


def told(plan: Plan, rows: Sequence[CrewWeek]) -> PlanSummary:
    """A plan with so many crew-weeks, nothing left out and nothing moved."""
    return PlanSummary(plan, tuple(rows), (), ())
