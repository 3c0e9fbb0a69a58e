"""Build Saltmarsh Point through the same services that a user's files go through."""

from collections.abc import Callable, Generator
from contextlib import contextmanager
from dataclasses import fields, replace
from datetime import date, timedelta
from typing import Final

import numpy as np
import numpy.typing as npt
import polars as pl

from registry.checks.service import import_checks
from registry.crews.calendar import day_minutes
from registry.crews.service import list_absences
from registry.db import Connection, Database
from registry.demo.areas import COMPRESSION
from registry.demo.crews import add_demo_crews
from registry.demo.files import Progress, csv_bytes, plan_bytes, say_nothing, tables_of
from registry.demo.history import Checks, Leaks
from registry.demo.joints import Plant, plant
from registry.demo.layout import IntArray
from registry.demo.make_ups import WHOLE_HISTORY
from registry.demo.process import Life, simulated_life
from registry.errors import Invalid
from registry.exposure.service import import_temperatures, import_vibration
from registry.intake.model import FileMapping, IntakeReport, Table
from registry.intake.tables import read_table
from registry.intervals.decisions import NotScored, ScoreSummary
from registry.intervals.service import current_run, score_plant, summary
from registry.intervals.store import take_score_lock
from registry.joints.service import import_list
from registry.leaks.service import import_leaks
from registry.makeup.service import import_make_ups, publish_first_procedures
from registry.papers.service import import_calibrations, import_people, import_tools
from registry.planning.model import PlanRequest
from registry.planning.service import list_bundles, make_plan
from registry.plant.service import import_plan_file
from registry.policy.service import publish_first
from registry.routes.model import NothingToWalk
from registry.routes.service import make_route
from registry.sites.model import Site
from registry.sites.service import set_time_zone
from registry.sites.store import add_site, list_sites, refresh_statistics, remove_site

CODE: Final = "saltmarsh-point"
NAME: Final = "Saltmarsh Point (invented)"
TIME_ZONE: Final = "Europe/London"
MOST_JOINTS: Final = 1_000_000

WEEKS: Final = 52
SHIFT_MINUTES: Final = 420.0
_LISTS: Final[dict[str, Callable[[Connection, Table, FileMapping, bool, date], IntakeReport]]] = {
    "people": import_people,
    "tools": import_tools,
    "calibrations": import_calibrations,
    "vibration": import_vibration,
    "temperatures": import_temperatures,
    "make_ups": import_make_ups,
    # Leaks before checks: the checks that saw them then find them there, with their repairs.
    "leaks": import_leaks,
    "checks": import_checks,
    # A wrench was found out of tolerance when its make-ups had long been recorded: what a recall is for.
    "late_calibrations": import_calibrations,
}


class DemoRefused(Invalid):
    """The demo's own files were refused"""

    slug = "demo-refused"


def build_demo(
    database: Database,
    joints: int,
    seed: int,
    as_of: date,
    *,
    history: bool = True,
    progress: Progress | None = None,
) -> tuple[Site, ScoreSummary]:
    """The invented plant as a site of its own: built, lived in, scored, planned, with a route for the next day.

    All of it comes in one transaction. A site that is there already is given back as it stands, whatever was asked for.
    """
    tell = progress or say_nothing
    with _site(database) as site, database.transaction(site.site_id) as connection:
        take_score_lock(connection)
        try:
            standing = summary(connection, current_run(connection))
        except NotScored:
            pass
        else:
            tell(f"{site.name} is here already, as of {standing.as_of}: nothing was changed")
            return site, standing
        tell(f"laying out {joints:,} joints")
        built = plant(joints, seed, as_of)
        policy = publish_first(connection)
        publish_first_procedures(connection)
        report = import_plan_file(connection, plan_bytes(built), "saltmarsh_point.geojson")
        tell("plot plan loaded: " + ", ".join(f"{count} {kind}" for kind, count in report.counts.items()))
        life = kept_life(simulated_life(built, policy, seed, as_of), WHOLE_HISTORY) if history else None
        tables = tables_of(built, life, seed, as_of)
        _load(connection, "joints", tables.joints, import_list, as_of, tell)
        for name, load in _LISTS.items():
            frame: pl.DataFrame | None = getattr(tables, name)
            if frame is not None and frame.height:
                _load(connection, name, frame, load, as_of, tell)
        scored = score_plant(connection, as_of)
        tell(f"scored {scored.joints:,} joints")
        _plan(connection, built, as_of, tell)
    with database.owner() as owner:
        refresh_statistics(owner)
    return site, scored


def kept_life(life: Life, whole: int) -> Life:
    """The records that are loaded: all of the first `whole` joints; of the others the newest check and the open leaks.

    A million joints have millions of checks, each a link in the ledger's chain; the score needs the newest of each.
    """
    if len(life.process.make_up_state) <= whole:
        return life
    checks, leaks = life.history.checks, life.history.leaks
    check = (checks.joint < whole) | _is_newest(checks.joint)
    leak = (leaks.joint < whole) | np.isnan(leaks.repaired_day)
    history = replace(
        life.history,
        checks=Checks(checks.joint[check], checks.day[check], checks.result[check]),
        leaks=Leaks(*(getattr(leaks, field.name)[leak] for field in fields(leaks))),
    )
    return replace(life, history=history)


def _is_newest(joint: IntArray) -> npt.NDArray[np.bool_]:
    """Of rows in order of time, which is the last of its joint."""
    newest = np.zeros(len(joint), dtype=bool)
    _, from_the_end = np.unique(joint[::-1], return_index=True)
    newest[len(joint) - 1 - from_the_end] = True
    return newest


@contextmanager
def _site(database: Database) -> Generator[Site]:
    """The demo's site; one that is made here and not filled is taken away again."""
    with database.transaction() as connection:
        standing = next((site for site in list_sites(connection) if site.code == CODE), None)
    if standing is not None:
        yield standing
        return
    with database.owner() as owner:
        made = add_site(owner, CODE, NAME)
        set_time_zone(owner, made.site_id, TIME_ZONE)
    try:
        yield made
    except BaseException:
        with database.owner() as owner:
            remove_site(owner, made.site_id)
        raise


def _load(
    connection: Connection,
    name: str,
    frame: pl.DataFrame,
    load: Callable[[Connection, Table, FileMapping, bool, date], IntakeReport],
    as_of: date,
    tell: Progress,
) -> None:
    table = read_table(csv_bytes(frame), name=f"saltmarsh_point_{name}.csv")
    report = load(connection, table, FileMapping(), False, as_of)
    if not report.loaded:
        raise DemoRefused(f"{name}: {report.refused:,} of {report.rows_read:,} rows were refused", report.issues)
    tell(f"{name.replace('_', ' ')} loaded: {report.added:,} rows")


def _plan(connection: Connection, built: Plant, as_of: date, tell: Progress) -> None:
    """Crews that a year of checks keeps busy, their plan, and a route for the next day where most is overdue."""
    crews = add_demo_crews(connection, built, as_of)
    hours = sum(crew.minutes_per_week for crew in crews) / 60
    tell(f"{len(crews)} crews with {hours:.0f} hours a week at the joints")
    made = make_plan(connection, PlanRequest(as_of - timedelta(days=as_of.weekday()), WEEKS), as_of, "the demo")
    tell(f"planned {made.checks:,} checks over {WEEKS} weeks; {made.unplaced_checks:,} have no week")
    crew = crews[0]
    there = day_minutes(crew, list_absences(connection), as_of + timedelta(days=1), 14) > 0
    walk_on = as_of + timedelta(days=1 + int(np.argmax(there)))
    # The plan goes to few places in a week: the walk is where it has most for this crew.
    bundles = list_bundles(connection, made.plan, walk_on - timedelta(days=walk_on.weekday()))
    own = [bundle for bundle in bundles if bundle.crew_id == crew.crew_id and bundle.area is not None]
    area = max(own, key=lambda bundle: bundle.minutes).area if own else built.blocks[0].area_name(COMPRESSION)
    try:
        route = make_route(connection, walk_on, crew.name, area, SHIFT_MINUTES, "West gate", 1)
    except NothingToWalk:
        tell(f"nothing is due in {area} that a crew could walk to on {walk_on}")  # a plant of a few dozen joints
    else:
        tell(f"route {route.route_id} for {walk_on} in {area}: {len(route.stops)} stops")
