"""Recall one wrench on a site of 1,000,000 joints: `python -m tests.benchmark.recall --help`.

The site is made in the database itself: joints, a make-up of each with one of the wrenches, scores. All runs in a
database server of its own under a temporary folder, which is removed at the end.
"""

import argparse
import shutil
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import psycopg

from registry.db import Connection, Database
from registry.embedded import EmbeddedServer
from registry.intervals.service import score_plant
from registry.joints.store import add_new_families, add_new_services
from registry.migration import migrate
from registry.policy.service import publish_first
from registry.recalls.model import RecallRequest
from registry.recalls.service import raise_recall, read_recall, suspects
from registry.recalls.store import list_recall_areas, list_recalled_joints, list_suspects
from registry.sites.store import add_site

AS_OF = date(2026, 11, 25)
WRENCHES = 100
FIRST_WRENCH_SHARE = 20
PAGE = 200

_JOINTS = """
INSERT INTO joint (site_id, tag, family_id, service_id, line_id, area_id, size_mm, location, pressure_barg, intake_id)
SELECT %(site)s, 'J-' || lpad(n::text, 7, '0'), 1 + n %% %(families)s, 1 + n %% %(services)s, NULL,
       (SELECT min(area_id) FROM area) + n %% 8, 12.7, point(n %% 1000, n / 1000), 10 + n %% 90, 1
FROM generate_series(1, %(joints)s) n
"""
_MAKE_UPS = """
INSERT INTO make_up (site_id, joint_id, made_up_on, fitter, witness, method, verdict, previous_hash, hash)
SELECT site_id, joint_id, date '2026-11-20' - (joint_id %% 1500), 'Fitter ' || joint_id %% 200, 'W. Witness', 'torque',
       'accepted', '\\x00', '\\x00'
FROM joint
"""


def main() -> None:
    """Make the site, recall the wrench that made the most, print what each step took."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--joints", type=int, default=1_000_000)
    joints = parser.parse_args().joints
    folder = Path(tempfile.mkdtemp(prefix="jointwright-recall-"))
    folder.chmod(0o711)
    try:
        with EmbeddedServer(folder) as server:
            migrate(server.url)
            with Database(server.url) as database:
                site_id = _make_site(database, joints)
                for serial in ("TW-2", "TW-1"):
                    _measure(database, site_id, joints, serial)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _make_site(database: Database, joints: int) -> int:
    with database.owner() as owner:
        site_id = add_site(owner, "bench", "Bench").site_id
    with database.transaction(site_id) as connection:
        policy = publish_first(connection)
        add_new_families(connection)
        add_new_services(connection)
    began = time.perf_counter()
    with psycopg.connect(database.url) as owner:
        # Straight in, without the chain of hashes and the checks of keys: what is measured is the recall.
        owner.execute("SET session_replication_role = replica")
        owner.execute("SELECT set_config('jointwright.site_id', %s, true)", [str(site_id)])
        owner.execute(
            "INSERT INTO intake (site_id, kind, source_name, content_sha256, rows_read, rows_loaded, rows_refused)"
            " VALUES (%s, 'demo', 'made here', '\\x00', 0, 0, 0)",
            [site_id],
        )
        owner.execute(
            "INSERT INTO area (site_id, name) SELECT %s, 'Area ' || n FROM generate_series(1, 8) n", [site_id]
        )
        size = {"families": len(policy.families), "services": len(policy.services), "joints": joints, "site": site_id}
        owner.execute(_JOINTS, size)
        owner.execute(_MAKE_UPS.replace("%%", "%"))
        owner.execute(
            "INSERT INTO joint_last_make_up SELECT site_id, joint_id, make_up_id, made_up_on, true, true FROM make_up"
        )
        owner.execute(
            "INSERT INTO tool (site_id, serial, kind)"
            " SELECT %s, 'TW-' || n, 'torque_wrench' FROM generate_series(1, %s) n",
            [site_id, WRENCHES],
        )
        owner.execute(
            "INSERT INTO calibration (site_id, tool_id, calibrated_on, valid_until_on, as_found)"
            " SELECT site_id, tool_id, '2020-01-01', '2030-01-01', 'in tolerance' FROM tool"
        )
        # The first wrench made one joint in twenty, the others share the rest.
        owner.execute(
            "INSERT INTO make_up_tool (site_id, make_up_id, tool_id)"
            " SELECT site_id, make_up_id, CASE WHEN make_up_id %% %s = 0 THEN 1 ELSE 2 + make_up_id %% %s END"
            " FROM make_up",
            [FIRST_WRENCH_SHARE, WRENCHES - 1],
        )
    with psycopg.connect(database.url, autocommit=True) as owner:
        owner.execute("VACUUM ANALYZE")
    with database.transaction(site_id) as connection:
        score_plant(connection, AS_OF)
    print(f"{joints:,} joints, made up and scored in {time.perf_counter() - began:.0f} s")
    return site_id


def _measure(database: Database, site_id: int, joints: int, serial: str) -> None:
    request = RecallRequest(kind="tool", subject=serial)

    def told(words: str, work: Callable[[Connection], Any]) -> Any:
        began = time.perf_counter()
        with database.transaction(site_id) as connection:
            result = work(connection)
        print(f"{serial}: {words}: {time.perf_counter() - began:.2f} s", flush=True)
        return result

    def listed(connection: Connection, most: int) -> int:
        found = suspects(connection, request, AS_OF)
        list_suspects(connection, found.joint_ids, most)
        return len(found.joint_ids)

    def raised(connection: Connection) -> int:
        return raise_recall(connection, request, reason="bench", raised_by="bench", today=AS_OF).recall_id

    count = told(f"its joints found, and the worst {PAGE} listed", lambda connection: listed(connection, PAGE))
    told(f"all {count:,} of {joints:,} listed, with area, class and due date", lambda c: listed(c, count))
    number = told("their checks raised and due dates moved", raised)
    told("progress", lambda connection: read_recall(connection, number, AS_OF))
    told("progress by area", lambda connection: list_recall_areas(connection, number, AS_OF))
    told("a page of its joints", lambda connection: list_recalled_joints(connection, number))


if __name__ == "__main__":
    main()
