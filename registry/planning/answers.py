"""Plans as they go out: JSON documents, and rows for tables."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict
from typing import Any, Final

from registry.planning.changes import MoveEffect, PlanJob, PlanMove
from registry.planning.limits import limits_in_words, most_worth
from registry.planning.model import CrewWeek, PlannedCheck, PlanSummary, UnplacedCheck

CHECK_COLUMNS: Final = (
    "week_starting_on", "crew", "area", "scaffold", "tag", "family", "due_on", "latest_on", "late", "minutes", "round",
    "requires_outage", "pinned", "done",
)  # fmt: skip
CREW_COLUMNS: Final = (
    "week_starting_on", "crew", "horizon", "checks", "minutes", "capacity_minutes", "over_minutes", "late", "early",
    "pinned", "done", "worth_minutes",
)  # fmt: skip
MOVE_COLUMNS: Final = (
    "tag", "area", "round", "from_week", "from_crew", "to_week", "to_crew", "reason", "note", "moved_by", "recorded_at",
)  # fmt: skip
UNPLACED_COLUMNS: Final = ("tag", "area", "family", "round", "due_on", "latest_on", "minutes", "reason")


def summary_document(told: PlanSummary) -> dict[str, Any]:
    """A plan in numbers and words."""
    plan, best = told.plan, most_worth(told)
    return {
        "plan": {**asdict(plan), "ends_on": plan.ends_on, "cost_minutes": plan.cost_minutes, "gap": plan.gap},
        "checks": told.checks,
        "late": told.late,
        "unplaced": told.unplaced_checks,
        "moved": told.moved_checks,
        "limits": limits_in_words(told),
        "weeks": [asdict(week) for week in told.weeks],
        "crew_weeks": list(crew_rows(told)),
        "unplaced_by_reason": [
            {
                "reason": row.reason.name.lower(),
                "in_words": row.reason.words,
                "area": row.area,
                "family": row.family,
                "checks": row.checks,
                "minutes": row.minutes,
            }
            for row in told.unplaced
        ],
        "moved_by_reason": [
            {"reason": row.reason.name.lower(), "in_words": row.reason.words, "checks": row.checks}
            for row in told.moves
        ],
        "one_more_crew_week": None if best is None else _crew_row(told, best),
    }


def crew_rows(told: PlanSummary) -> Iterator[dict[str, Any]]:
    """Every crew and week of a plan under CREW_COLUMNS, and the crew's number."""
    return (_crew_row(told, row) for row in told.crew_weeks)


def check_rows(checks: Iterable[PlannedCheck]) -> Iterator[dict[str, Any]]:
    """Checks that have a week under CHECK_COLUMNS, and what else is known of them. `round` counts from 1."""
    return ({**_fields(check), "late": check.late, "round": check.occurrence + 1} for check in checks)


def unplaced_rows(checks: Iterable[UnplacedCheck]) -> Iterator[dict[str, Any]]:
    """Checks that have no week under UNPLACED_COLUMNS; the reason is in words, and by name as `reason_code`."""
    return (
        {
            **_fields(check),
            "round": check.occurrence + 1,
            "reason": check.reason.words,
            "reason_code": check.reason.name.lower(),
        }
        for check in checks
    )


def move_rows(moves: Iterable[PlanMove]) -> Iterator[dict[str, Any]]:
    """Moves under MOVE_COLUMNS; the reason is in words, and by name as `reason_code`. Round 0 was done since."""
    return (
        {
            **_fields(move),
            "round": move.occurrence + 1,
            "reason": move.reason.words,
            "reason_code": move.reason.name.lower(),
        }
        for move in moves
    )


def sheets(
    told: PlanSummary,
    checks: Iterable[PlannedCheck],
    unplaced: Iterable[UnplacedCheck],
    moves: Iterable[PlanMove],
) -> list[tuple[str, tuple[str, ...], Iterable[Mapping[str, Any]]]]:
    """A plan as sheets of a workbook: name, headings and rows of each."""
    said = [{"what limits the plan": sentence} for sentence in limits_in_words(told)]
    # A workbook knows no time zones.
    dated = ({**row, "recorded_at": f"{row['recorded_at']:%Y-%m-%d %H:%M}Z"} for row in move_rows(moves))
    return [
        ("Checks", CHECK_COLUMNS, check_rows(checks)),
        ("Crews by week", CREW_COLUMNS, crew_rows(told)),
        ("In no week", UNPLACED_COLUMNS, unplaced_rows(unplaced)),
        ("Moves", MOVE_COLUMNS, dated),
        ("Limits", ("what limits the plan",), said),
    ]


def move_document(effect: MoveEffect) -> dict[str, Any]:
    """What a move does."""
    return {**asdict(effect), "over_minutes": effect.over_minutes, "allowed": not effect.refused}


def job_document(job: PlanJob) -> dict[str, Any]:
    """How far a job is."""
    return {**asdict(job), "over": job.over}


def _fields(row: PlannedCheck | UnplacedCheck | PlanMove) -> dict[str, Any]:
    """What `asdict` gives, without its copies of copies: a plan has hundreds of thousands of rows."""
    return {name: getattr(row, name) for name in row.__slots__}


def _crew_row(told: PlanSummary, row: CrewWeek) -> dict[str, Any]:
    horizon = told.plan.horizon_of(row.week_starting_on)
    return {**asdict(row), "horizon": horizon, "over_minutes": row.over_minutes}
