"""Intake, scoring, due list, map window, route and plan against their floors: `python -m tests.benchmark --help`.

Everything runs in a database server of its own under a temporary folder, which is removed at the end. Machines differ
and are shared: the ratios are the result, the seconds are not.
"""

import argparse
import json
import platform
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

from dashboards.app import create_app
from registry.commands.serve import settle_collector
from registry.db import Database
from registry.demo.areas import ELECTROLYSIS
from registry.demo.files import csv_bytes, plan_bytes
from registry.demo.joints import Plant, plant
from registry.demo.layout import FloatArray
from registry.demo.lists import joint_list
from registry.embedded import EmbeddedServer
from registry.intake.model import FileMapping, IntakeReport
from registry.intake.tables import read_table
from registry.intervals.decisions import DueFilter, ScoreSummary
from registry.intervals.service import current_run, due_page, score_plant
from registry.joints.service import import_list
from registry.migration import migrate
from registry.planning.solver import solved
from registry.plant.service import import_plan_file
from registry.policy.service import publish_first
from registry.routes.model import CrewShift
from registry.routes.service import make_route, make_routes
from registry.sites.model import Site
from registry.sites.store import add_site, refresh_statistics
from tests.benchmark.application import Application
from tests.benchmark.floors import (
    copy_joint_list,
    copy_register_rows,
    score_floor,
    seconds_of,
    select_rows,
)
from tests.benchmark.measured import Floor, Row, medians, repeated, shown, table, timed
from tests.benchmark.planning import plan_rows
from tests.benchmark.planning_case import planning_case

JOINTS = 100_000
MOST_JOINTS = 1_000_000
SEED = 1
AS_OF = date(2026, 11, 25)
WINDOWS = 120
PAGES = 100
# Windows as people look: a unit, a row of equipment, a corner.
WINDOW_SIZES_M = ((200.0, 150.0), (120.0, 80.0), (40.0, 30.0))
SHIFT_MINUTES = 420.0


def main() -> int:
    """Measure, print, and leave nothing behind."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmark", description=__doc__)
    parser.add_argument("--joints", type=int, default=JOINTS, help=f"size of the plant (default {JOINTS:,})")
    parser.add_argument("--json", action="store_true", help="print one JSON document instead of the table")
    parsed = parser.parse_args()
    if not 1_000 <= parsed.joints <= MOST_JOINTS:
        parser.error(f"--joints is from 1,000 to {MOST_JOINTS:,}")
    tell = (lambda _: None) if parsed.json else lambda what: print(what, file=sys.stderr, flush=True)
    rows: list[Row] = []
    with fresh_database() as database:
        tell(f"laying out {parsed.joints:,} joints")
        built = plant(parsed.joints, SEED, AS_OF)
        with database.owner() as owner:
            site = add_site(owner, "benchmark", "Benchmark")
        for work in (intake, scoring, due_list, map_windows, route, plan):
            tell(f"measuring: {work.__name__.replace('_', ' ')}")
            rows += work(database, site, built)
    machine = f"{platform.machine()}, Python {platform.python_version()}, {parsed.joints:,} joints, seed {SEED}"
    if parsed.json:
        print(
            json.dumps({"machine": machine, "joints": parsed.joints, "rows": [row.as_json() for row in rows]}, indent=2)
        )
    else:
        print(machine)
        print(table(rows))
    return 0


def plan(database: Database, site: Site, built: Plant) -> list[Row]:
    """A plan of two checks a joint, up to 200,000, as the solver is given it; compiled before, which is done once."""
    solved(planning_case(500, SEED, areas=4, scaffolds=4, weeks=12))
    return plan_rows(planning_case(min(2 * len(built.joints), 200_000), SEED))


@contextmanager
def fresh_database() -> Iterator[Database]:
    """A migrated database on a server of its own, gone at the end."""
    folder = Path(tempfile.mkdtemp(prefix="jointwright-bench-"))
    folder.chmod(0o711)  # the server may run as a user of its own, who must get through
    try:
        with EmbeddedServer(folder) as server:
            migrate(server.url)
            with Database(server.url) as database:
                yield database
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def intake(database: Database, site: Site, built: Plant) -> list[Row]:
    """A joint list from its bytes to the committed register; then the same again, which changes nothing."""
    frame = joint_list(built, SEED)
    content = csv_bytes(frame)
    types = {name: _SQL_TYPES[str(kind)] for name, kind in frame.schema.items()} | {"requires_outage": "boolean"}
    body = content.split(b"\n", 1)[1]
    taken: list[float] = []
    peaks: list[float] = []
    floors: list[list[Floor]] = []
    # Each turn into a site of its own and beside its floors, so that a busy moment of the machine falls on all of them.
    for turn in range(turns_of(built)):
        into = site
        if turn:
            with database.owner() as owner:
                into = add_site(owner, f"benchmark-{turn}", f"Benchmark {turn}")
        with database.transaction(into.site_id) as connection:
            publish_first(connection)
            import_plan_file(connection, plan_bytes(built), "plot_plan.geojson")
        seconds, peak, report = timed(lambda into=into: load(database, into, content))
        if report.added != len(built.joints):
            raise SystemExit(f"loaded {report.added} of {len(built.joints)} joints: {report.issues[:3]}")
        taken.append(seconds)
        peaks.append(peak)
        floors.append(
            [*copy_joint_list(database, frame.columns, body, types), *copy_register_rows(database, into.site_id)]
        )
    with database.owner() as owner:
        refresh_statistics(owner)  # the server does so by itself within a minute of a load
    again, peak_again, repeat = timed(lambda: load(database, site, content))
    if repeat.changes:
        raise SystemExit("the same file changed something the second time")
    size = f"{len(content) / 2**20:.0f} MiB of CSV"
    return [
        Row(f"intake: {size} into the register", median(taken), peak_mib=max(peaks), floors=medians(floors)),
        Row("intake: the same file again, 0 changes", again, peak_mib=peak_again, floors=medians(floors)[:1]),
    ]


def load(database: Database, site: Site, content: bytes) -> IntakeReport:
    """Take a joint list in, as `jointwright load joints` does."""
    rows = read_table(content, name="joints.csv")
    with database.transaction(site.site_id) as connection:
        return import_list(connection, rows, FileMapping(), keep_valid=False, today=AS_OF)


def scoring(database: Database, site: Site, built: Plant) -> list[Row]:
    """A whole score: read, compute, write, index, swap in."""

    def score() -> ScoreSummary:
        with database.transaction(site.site_id) as connection:
            return score_plant(connection, AS_OF)

    score()
    taken: list[float] = []
    peaks: list[float] = []
    floors: list[list[Floor]] = []
    for _ in range(turns_of(built)):
        seconds, peak, summary = timed(score)
        assert summary.joints == len(built.joints)
        taken.append(seconds)
        peaks.append(peak)
        floors.append(score_floor(database, site.site_id, AS_OF))
    return [Row("scoring: read, compute, write, swap in", median(taken), peak_mib=max(peaks), floors=medians(floors))]


def turns_of(built: Plant) -> int:
    """How often the long work is done: three times, but once where once is minutes."""
    return 3 if len(built.joints) <= 200_000 else 1


def due_list(database: Database, site: Site, built: Plant) -> list[Row]:
    """Pages of 200 of the due list, one after the other, as a reader turns them."""
    after: Any = None
    with database.transaction(site.site_id) as connection:

        def page(_: int) -> None:
            nonlocal after
            found = due_page(connection, DueFilter(), after=after, limit=200)
            after = (found[-1].due_on, found[-1].risk_now, found[-1].joint_id) if len(found) == 200 else None

        page(0)
        middle, p95 = repeated(page, PAGES)
        _, peak, _ = timed(lambda: page(0))
        run = current_run(connection)
        query = (
            b"SELECT * FROM score WHERE site_id = current_site() AND score_run_id = %(run)s"
            b" ORDER BY due_on, risk_now DESC, joint_id LIMIT 200"
        )
        floor, _ = repeated(lambda _: select_rows(connection, query, {"run": run.score_run_id}), PAGES)
    return [Row("due list: a page of 200", middle, p95, peak, [Floor("SELECT of the same rows of the score", floor)])]


def map_windows(database: Database, site: Site, built: Plant) -> list[Row]:
    """Windows of the map through the application, as a browser asks for them but without a network."""
    generator = np.random.default_rng(SEED)
    joints = built.joints
    rows: list[Row] = []
    with Application(create_app(database)) as application:
        settle_collector()  # as the serving process does
        for width, height in WINDOW_SIZES_M:
            centres = generator.choice(len(joints), WINDOWS)
            east, north = joints.east_m[centres], joints.north_m[centres]
            edges = np.column_stack([east - width / 2, north - height / 2, east + width / 2, north + height / 2])
            rows.append(_windows(application, database, site, f"map: {width:.0f} × {height:.0f} m", edges))
        corners = np.array([joints.east_m.min(), joints.north_m.min(), joints.east_m.max(), joints.north_m.max()])
        # No window twice, for the application keeps its last answers.
        grown = corners + np.outer(np.arange(1.0, 11.0), [-1.0, -1.0, 1.0, 1.0])
        rows.append(_windows(application, database, site, "map: the whole site", grown))
    return rows


def _windows(application: Application, database: Database, site: Site, name: str, edges: FloatArray) -> Row:
    answers: list[bytes] = []
    windows = [dict(zip(("west", "south", "east", "north"), row, strict=True)) for row in edges.tolist()]

    def ask(turn: int) -> None:
        answers.append(application.get(f"/api/v1/sites/{site.code}/map", windows[turn]))

    ask(0)
    middle, p95 = repeated(ask, len(windows))
    _, peak, _ = timed(lambda: ask(0))
    with database.transaction(site.site_id) as connection:
        floor, floor_p95 = repeated(lambda turn: select_rows(connection, _WINDOW, windows[turn]), len(windows))
    counts = np.median([json.loads(answer)["joints"] for answer in answers])
    sizes = np.median([len(answer) for answer in answers])
    return Row(
        f"{name}, {int(counts):,} joints",
        middle,
        p95,
        peak,
        [Floor(f"SELECT of the same rows, its p95 {shown(floor_p95)}", floor)],
        notes=f"{sizes / 1024:.0f} KiB an answer",
    )


def route(database: Database, site: Site, built: Plant) -> list[Row]:
    """A route for one shift through one area, chosen and ordered from everything due there."""
    with database.transaction(site.site_id) as connection:
        area = built.blocks[0].area_name(ELECTROLYSIS)

        def make() -> Any:
            return make_route(
                connection, AS_OF + timedelta(days=1), "Benchmark", area, SHIFT_MINUTES, "Main gate", SEED
            )

        def make_three() -> Any:
            gates = ("Main gate", "West gate", "Jetty gate")
            shifts = [CrewShift(f"Benchmark {number}", SHIFT_MINUTES, gate) for number, gate in enumerate(gates)]
            return make_routes(connection, AS_OF + timedelta(days=2), shifts, None, SEED)

        seconds, peak, made = timed(make)
        floor = seconds_of(lambda: select_rows(connection, _AREA, {"area": area}))
        seconds_of_three, peak_of_three, three = timed(make_three)
        connection.rollback()
    notes = (
        f"{made.considered:,} due, {len(made.stops)} stops,"
        f" {made.working_minutes:.0f} min at joints, {made.walking_minutes:.0f} min on foot"
    )
    floors = [Floor("SELECT of the area's joints", floor)]
    stops = ", ".join(str(len(one.stops)) for one in three)
    of_three = f"{max(one.considered for one in three):,} due at most, {stops} stops"
    return [
        Row("route: one shift, one area", seconds, peak_mib=peak, floors=floors, notes=notes),
        Row("routes: three shifts at once, whole site", seconds_of_three, peak_mib=peak_of_three, notes=of_three),
    ]


_WINDOW = (
    b"SELECT joint_id, location, elevation_m, risk_now, due_on"
    b" FROM score_window(%(west)s, %(south)s, %(east)s, %(north)s)"
)
_AREA = (
    b"SELECT joint_id, location, elevation_m, risk_now, due_on, check_minutes FROM score"
    b" WHERE site_id = current_site() AND score_run_id = current_score_run()"
    b" AND area_id = (SELECT area_id FROM area WHERE site_id = current_site() AND name = %(area)s)"
)
_SQL_TYPES = {"String": "text", "Float64": "double precision", "Date": "date"}


if __name__ == "__main__":
    sys.exit(main())
