"""What several pages of the plan show: bundles, where they may go, reasons with their counts."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Annotated
from urllib.parse import urlencode

from fastapi import Depends, Form, Query

from dashboards.pages.frame import PageRequest
from dashboards.plan_contexts import BundleRow, MoveTargets
from dashboards.plan_words import place_of_bundle
from registry.crews.model import Crew
from registry.planning.changes import Bundle, BundleKey
from registry.planning.model import Plan

_DAYS = 7


def bundle_row(page: PageRequest, bundle: Bundle) -> BundleRow:
    """A bundle as a card of the board."""
    query = urlencode(bundle_fields(bundle.key))
    return BundleRow(
        bundle=bundle,
        place=place_of_bundle(bundle.area, bundle.scaffold),
        href=f"{page.root}/weeks/bundle?{query}",
        query=query,
    )


def bundle_fields(key: BundleKey) -> list[tuple[str, str]]:
    """What names a bundle in an address or a form."""
    named = {
        "plan": key.plan_run_id,
        "week": key.week_starting_on,
        "crew": key.crew_id,
        "area": key.area_id,
        "scaffold": key.scaffold,
    }
    return [(name, str(value)) for name, value in named.items() if value is not None]


def move_targets(plan: Plan, crews: Sequence[Crew], today: date) -> MoveTargets:
    """Where checks may be moved to: the weeks of the plan from this one on, and the crews that are there then."""
    mondays = [plan.starts_on + timedelta(weeks=week) for week in range(plan.weeks)]
    open_weeks = [monday for monday in mondays if (today - monday).days < _DAYS]
    until = plan.ends_on
    return MoveTargets(
        weeks=[(str(monday), f"{monday}, {plan.horizon_of(monday)}") for monday in open_weeks],
        crews=[
            (str(crew.crew_id), crew.name)
            for crew in crews
            if (crew.until_on is None or crew.until_on >= today) and (crew.from_on is None or crew.from_on < until)
        ],
    )


def _queried_bundle(
    plan: Annotated[int, Query(ge=1, le=2**31 - 1)],
    week: Annotated[date | None, Query()] = None,
    crew: Annotated[int | None, Query(ge=1, le=2**31 - 1)] = None,
    area: Annotated[int | None, Query(ge=0, le=2**31 - 1)] = None,
    scaffold: Annotated[int | None, Query(ge=0, le=2**31 - 1)] = None,
    joint: Annotated[list[int] | None, Query(max_length=10_000)] = None,
) -> BundleKey:
    return _key(plan, week, crew, area, scaffold, joint)


def _sent_bundle(
    plan: Annotated[int, Form(ge=1, le=2**31 - 1)],
    week: Annotated[date | None, Form()] = None,
    crew: Annotated[int | None, Form(ge=1, le=2**31 - 1)] = None,
    area: Annotated[int | None, Form(ge=0, le=2**31 - 1)] = None,
    scaffold: Annotated[int | None, Form(ge=0, le=2**31 - 1)] = None,
    joint: Annotated[list[int] | None, Form(max_length=10_000)] = None,
) -> BundleKey:
    return _key(plan, week, crew, area, scaffold, joint)


def _key(
    plan: int, week: date | None, crew: int | None, area: int | None, scaffold: int | None, joint: list[int] | None
) -> BundleKey:
    return BundleKey(plan, week, crew, area, scaffold, tuple(joint) if joint else None)


QueriedBundle = Annotated[BundleKey, Depends(_queried_bundle)]
"""The bundle that an address names; joints ticked in it make it those alone."""

SentBundle = Annotated[BundleKey, Depends(_sent_bundle)]
"""The bundle that a form names."""
