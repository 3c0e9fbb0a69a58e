"""The plan: every check in a week that it may stand in, by a crew that may do it, or with the reason why in none."""

from collections.abc import Iterator
from datetime import date, timedelta

import pytest

from registry.crews.model import CrewRequest
from registry.crews.service import change_crew, read_crew
from registry.db import Connection, Database
from registry.intervals.service import score_plant
from registry.planning.model import CrewsMissing, NotPlanned, PlanRequest, PlanUnfit, WeekUnknown
from registry.planning.reasons import Moved, Unplaced
from registry.planning.service import (
    checks_of_week,
    current_plan,
    list_bundles,
    list_moves,
    list_unplaced,
    make_plan,
    summary,
    whole_plan,
)
from tests.conftest import new_site
from tests.database.planned_site import (
    MONDAY,
    OUTAGE_FROM,
    WEEKS,
    Place,
    fill_planned_site,
    hours_kept,
    places,
    planned,
    recorded_moves,
)
from tests.database.small_site import AS_OF, fill_site, number

FROZEN_UNTIL = MONDAY + timedelta(weeks=2)


@pytest.fixture(scope="module")
def site(module_database: Database) -> tuple[Database, int, dict[str, int]]:
    """A site to be planned, filled once; its crews by name."""
    site_id = new_site(module_database, "planned")
    with module_database.transaction(site_id) as connection:
        crews = fill_planned_site(connection)
    return module_database, site_id, crews


@pytest.fixture
def plant(site: tuple[Database, int, dict[str, int]]) -> Iterator[Connection]:
    """A transaction in that site, rolled back at the end."""
    with site[0].transaction(site[1]) as connection:
        yield connection
        connection.rollback()


def move_due(connection: Connection, joint_id: int, days: int) -> None:
    """Change a joint's due date in the current scores, as an override or a leak nearby would."""
    connection.execute(
        "UPDATE score SET due_on = due_on + %s WHERE joint_id = %s AND score_run_id = current_score_run()",
        [days, joint_id],
    )


def shifted(before: dict[tuple[int, int], Place], done: set[int]) -> dict[tuple[int, int], Place]:
    """The plan before, counted as the next one counts: what was done is round -1."""
    return {(joint, occurrence - (joint in done)): place for (joint, occurrence), place in before.items()}


def difference(
    before: dict[tuple[int, int], Place], after: dict[tuple[int, int], Place]
) -> dict[tuple[int, int], tuple[Place, Place]]:
    """Every check that stands elsewhere in one than in the other, or in one alone."""
    nowhere = Place(None, None)
    return {
        key: (before.get(key, nowhere), after.get(key, nowhere))
        for key in before.keys() | after.keys()
        if before.get(key) != after.get(key)
    }


def test_every_check_stands_where_it_may_or_has_a_reason(plant: Connection) -> None:
    told = planned(plant)
    assert told.checks > 100
    assert told.checks + told.unplaced_checks == number(plant, "SELECT count(*) FROM planned_check")
    due = number(
        plant,
        "SELECT count(*) FROM score WHERE score_run_id = current_score_run() AND due_on < %s",
        MONDAY + timedelta(weeks=WEEKS),
    )
    assert number(plant, "SELECT count(*) FROM planned_check WHERE occurrence = 0") == due
    hours_kept(plant)
    assert not number(plant, "SELECT count(*) FROM planned_check WHERE week_starting_on > latest_on")
    assert not number(plant, "SELECT count(*) FROM planned_check WHERE week_starting_on + 7 <= %s", AS_OF)
    # By families: none with a crew that may not.
    assert not number(
        plant,
        "SELECT count(*) FROM planned_check p JOIN joint j USING (site_id, joint_id)"
        " JOIN family f USING (site_id, family_id) JOIN crew c USING (site_id, crew_id)"
        " WHERE c.families <> '{}' AND NOT f.code = ANY (c.families)",
    )
    assert summary(plant, current_plan(plant)) == told
    assert sum(week.checks for week in told.weeks) == told.checks
    assert len(told.weeks) == WEEKS


def test_what_needs_an_outage_stands_in_one_or_nowhere(plant: Connection) -> None:
    told = planned(plant)
    rows = plant.execute(
        "SELECT p.week_starting_on, p.unplaced_reason FROM planned_check p JOIN joint j USING (site_id, joint_id)"
        " WHERE j.requires_outage"
    ).fetchall()
    weeks = {week for week, _ in rows}
    assert weeks - {None} <= {OUTAGE_FROM, OUTAGE_FROM + timedelta(weeks=1)}
    assert weeks & {OUTAGE_FROM, OUTAGE_FROM + timedelta(weeks=1)}
    assert {reason for week, reason in rows if week is None} <= {Unplaced.NEEDS_OUTAGE}
    for check in list_unplaced(plant, told.plan, reason=Unplaced.NEEDS_OUTAGE):
        assert not check.due_on <= OUTAGE_FROM <= check.latest_on


def test_a_plan_without_changes_moves_nothing(plant: Connection) -> None:
    planned(plant)
    before = places(plant)
    told = planned(plant)
    frozen = {key: place for key, place in before.items() if place.week is not None and place.week < FROZEN_UNTIL}
    assert {key: places(plant)[key] for key in frozen} == frozen
    assert recorded_moves(plant) == difference(before, places(plant))
    assert told.moved_checks <= len(before) // 20
    assert number(plant, "SELECT count(DISTINCT plan_run_id) FROM planned_check") == 1
    assert number(plant, "SELECT count(*) FROM plan_run") == 2


def test_one_due_date_changes_and_the_frozen_weeks_stand(plant: Connection) -> None:
    planned(plant, weeks=40)
    before = places(plant)
    frozen = {key: place for key, place in before.items() if place.week is not None and place.week < FROZEN_UNTIL}
    assert frozen
    later = next(
        check.joint_id
        for check in whole_plan(plant, current_plan(plant))
        if check.week_starting_on > FROZEN_UNTIL
        and check.due_on > AS_OF
        and not check.occurrence
        and not check.requires_outage
    )
    in_frozen = next(key[0] for key in sorted(frozen) if not key[1])
    move_due(plant, later, 100)
    move_due(plant, in_frozen, 200)
    told = planned(plant, weeks=40)
    after = places(plant)
    assert {key: after.get(key) for key in frozen} == frozen
    # Nothing else came into them either.
    assert {key for key, place in after.items() if place.week and place.week < FROZEN_UNTIL} == frozen.keys()
    assert recorded_moves(plant) == difference(before, after)
    assert told.moved_checks == len(recorded_moves(plant))
    moves = {(move.joint_id, move.occurrence): move for move in list_moves(plant, told.plan, limit=None)}
    assert moves[(later, 0)].reason is Moved.DUE_CHANGED


def test_what_was_done_is_a_move_and_its_next_round_takes_its_place(plant: Connection) -> None:
    planned(plant)
    before = places(plant)
    joint, week = next(
        (key[0], place.week)
        for key, place in sorted(before.items())
        if place.week and place.week < FROZEN_UNTIL and not key[1]
    )
    plant.execute(
        "INSERT INTO check_result (site_id, joint_id, observed_at, result)"
        " VALUES (current_site(), %s, now() + interval '1 second', 'tight')",
        [joint],
    )
    assert sum(row.done for row in summary(plant, current_plan(plant)).weeks) == 1
    assert [check.joint_id for check in checks_of_week(plant, week, limit=None) if check.done] == [joint]
    assert sum(bundle.done for bundle in list_bundles(plant, current_plan(plant), week)) == 1
    move_due(plant, joint, 90)
    told = planned(plant)
    after = places(plant)
    assert recorded_moves(plant) == difference(shifted(before, {joint}), after)
    done = list_moves(plant, told.plan, reason=Moved.DONE)
    assert [(move.joint_id, move.occurrence, move.from_week, move.to_week) for move in done] == [
        (joint, -1, week, None)
    ]


def test_the_plan_of_the_next_week_says_what_was_missed_and_what_is_new(plant: Connection) -> None:
    planned(plant)
    before = places(plant)
    told = planned(plant, AS_OF + timedelta(weeks=1), starts_on=MONDAY + timedelta(weeks=1), weeks=WEEKS + 10)
    after = places(plant)
    assert recorded_moves(plant) == difference(before, after)
    moves = list_moves(plant, told.plan, limit=None)
    missed = {move.joint_id for move in moves if move.reason is Moved.MISSED}
    assert missed == {key[0] for key, place in before.items() if place.week == MONDAY}
    # The second week was frozen before and is the first now: it keeps what it held.
    second = {key: place for key, place in before.items() if place.week == MONDAY + timedelta(weeks=1)}
    assert {key: after[key] for key in second} == second
    assert any(move.reason is Moved.NEW for move in moves)


def test_fewer_hours_are_given_as_the_reason(plant: Connection, site: tuple[Database, int, dict[str, int]]) -> None:
    planned(plant)
    before = places(plant)
    crew = read_crew(plant, site[2]["Tubes"])
    change_crew(plant, crew.crew_id, CrewRequest("Tubes", (4.0,) * 5 + (0.0, 0.0), crew.families), None)
    told = planned(plant)
    after = places(plant)
    assert recorded_moves(plant) == difference(before, after)
    moved = [m for m in list_moves(plant, told.plan, limit=None) if m.from_crew == "Tubes"]
    assert moved
    assert {move.reason for move in moved} == {Moved.HOURS_CHANGED}
    # What the frozen weeks held stays on the crew's list, and stands out as too much.
    assert any(
        row.crew == "Tubes" and row.over_minutes > 0 for row in told.crew_weeks if row.week_starting_on < FROZEN_UNTIL
    )


def test_reasons_for_no_week(plant: Connection, site: tuple[Database, int, dict[str, int]]) -> None:
    for name, crew_id in site[2].items():
        families = ("flanged",) if name == "All" else ("clamp_hub",)
        change_crew(plant, crew_id, CrewRequest(name, (3.0,) * 5 + (0.0, 0.0), families), None)
    plant.execute(
        "UPDATE score SET check_minutes = 100 WHERE score_run_id = current_score_run()"
        " AND joint_id = (SELECT min(joint_id) FROM score JOIN family USING (site_id, family_id)"
        " WHERE score_run_id = current_score_run() AND code = 'flanged' AND due_on < %s)",
        [AS_OF],
    )
    told = planned(plant)
    found = {row.reason for row in told.unplaced}
    assert {Unplaced.NO_CREW, Unplaced.NO_ROOM, Unplaced.TOO_LONG} <= found
    assert {row.family for row in told.unplaced if row.reason is Unplaced.NO_CREW} <= {
        "twin_ferrule", "cone_thread", "ferrule_mp", "union", "taper_thread"
    }  # fmt: skip
    too_long = [check.minutes for check in list_unplaced(plant, told.plan, reason=Unplaced.TOO_LONG)]
    assert 100.0 in too_long
    assert min(too_long) > 15.0
    assert told.unplaced_checks == len(list_unplaced(plant, told.plan, limit=None))


def test_pages_hold_every_check_once(plant: Connection) -> None:
    told = planned(plant)
    week = next(row.week_starting_on for row in told.weeks if row.checks > 6)
    whole = checks_of_week(plant, week, limit=None)
    first = checks_of_week(plant, week, limit=3)
    last = first[-1]
    rest = checks_of_week(plant, week, after=(last.due_on, last.joint_id, last.occurrence), limit=None)
    assert [*first, *rest] == whole
    by_bundle = [
        check
        for bundle in list_bundles(plant, told.plan, week)
        for check in checks_of_week(
            plant, week, bundle.crew_id, area_id=bundle.area_id, scaffold=bundle.scaffold, limit=None
        )
    ]
    assert sorted(map(repr, by_bundle)) == sorted(map(repr, whole))
    assert len(list(whole_plan(plant, told.plan))) == told.checks
    unplaced = list_unplaced(plant, told.plan, limit=None)
    if len(unplaced) > 1:
        key = (unplaced[0].due_on, unplaced[0].joint_id, unplaced[0].occurrence)
        assert list_unplaced(plant, told.plan, after=key, limit=None) == unplaced[1:]


def test_the_rest_of_this_week_is_what_there_is_of_it(plant: Connection) -> None:
    told = planned(plant)
    days_left = 5 - AS_OF.weekday()
    assert {row.capacity_minutes for row in told.crew_weeks if row.week_starting_on == MONDAY} == {60.0 * days_left}
    assert {row.capacity_minutes for row in told.crew_weeks if row.week_starting_on > MONDAY} == {300.0}


def test_what_is_no_plan_is_refused(plant: Connection) -> None:
    with pytest.raises(NotPlanned, match="jointwright plan"):
        current_plan(plant)
    with pytest.raises(PlanUnfit) as refused:
        make_plan(plant, PlanRequest(date(2026, 11, 25), 0, planned_weeks=99), AS_OF, "me")
    assert [issue.column for issue in refused.value.issues] == ["starts_on", "weeks", "planned_weeks"]
    with pytest.raises(PlanUnfit, match="refused"):
        make_plan(plant, PlanRequest(MONDAY - timedelta(weeks=1), 4), AS_OF, "me")
    with pytest.raises(PlanUnfit):
        make_plan(plant, PlanRequest(MONDAY, 4, frozen_weeks=4), AS_OF, "me")
    planned(plant, weeks=3)
    with pytest.raises(WeekUnknown):
        checks_of_week(plant, MONDAY + timedelta(days=1))
    with pytest.raises(WeekUnknown):
        checks_of_week(plant, MONDAY + timedelta(weeks=3))


def test_a_site_without_crews_is_told_so(connection: Connection) -> None:
    fill_site(connection, 20)
    score_plant(connection, AS_OF)
    with pytest.raises(CrewsMissing, match="crew add"):
        planned(connection)
