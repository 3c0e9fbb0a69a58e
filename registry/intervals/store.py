"""Scores read and written as whole columns, and the rows about single joints."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, Final, TypeVar

import numpy as np
from psycopg.rows import class_row

from registry.columns import Columns, copy_columns, read_columns
from registry.db import Connection
from registry.exposure.store import read_line_readings, read_thermal_histories, read_vibration_zones
from registry.intervals.decisions import (
    DueFilter,
    DueJoint,
    Override,
    OverrideRequest,
    ScoreRun,
    StoredScore,
    Workload,
)
from registry.intervals.model import JointColumns, NearbyLeaks, ScoreInputs, Scores
from registry.named_sql import queries_beside

SQL = queries_beside(__file__)
Row = TypeVar("Row")

_NOT_GIVEN: Final = np.datetime64("0001-01-01", "D")

_JOINT_TYPES: Final = {
    "joint_id": "integer",
    "east_m": "double precision",
    "north_m": "double precision",
    "elevation_m": "double precision",
    "area_id": "integer",
    "line_id": "integer",
    "family_id": "smallint",
    "service_id": "smallint",
    "size_mm": "double precision",
    "pressure_barg": "double precision",
    "temperature_degc": "double precision",
    "made_up_on": "date",
    "vibration_mm_s": "double precision",
    "vibration_hz": "double precision",
    "thermal_cycles_per_year": "double precision",
    "thermal_range_degc": "double precision",
    "access": "smallint",
    "last_vibration_mm_s": "double precision",
    "last_vibration_hz": "double precision",
    "last_make_up_on": "date",
    "last_make_up_accepted": "boolean",
    "last_make_up_witnessed": "boolean",
    "last_satisfactory_on": "date",
    "override_days": "double precision",
    "recall_due_on": "date",
}
_NEARBY_TYPES: Final = {
    "joint_id": "integer",
    "line_id": "integer",
    "east_m": "double precision",
    "north_m": "double precision",
    "observed_on": "date",
}
_SCORE_TYPES: Final = {
    "site_id": "integer",
    "score_run_id": "integer",
    "joint_id": "integer",
    "location": "point",
    "elevation_m": "double precision",
    "area_id": "integer",
    "line_id": "integer",
    "family_id": "smallint",
    "service_id": "smallint",
    "base_rate_per_year": "double precision",
    "vibration_factor": "double precision",
    "thermal_factor": "double precision",
    "make_up_factor": "double precision",
    "plant_factor": "double precision",
    "defect_rate_per_year": "double precision",
    "delay_rate_per_year": "double precision",
    "detection_probability": "double precision",
    "release_kg_s": "double precision",
    "consequence_class": "smallint",
    "tolerable_leaks_per_year": "double precision",
    "interval_days": "double precision",
    "interval_limit": "smallint",
    "beyond_checking": "boolean",
    "vibration_action": "boolean",
    "assumed_inputs": "smallint",
    "last_satisfactory_on": "date",
    "due_on": "date",
    "due_reason": "smallint",
    "leak_rate_now_per_year": "double precision",
    "likelihood_class": "smallint",
    "risk_now": "double precision",
    "risk_rank": "integer",
    "check_minutes": "double precision",
}


def take_score_lock(connection: Connection) -> None:
    """Be the only one who scores or records until the transaction ends."""
    connection.execute(SQL["take_score_lock"])


def share_score_lock(connection: Connection) -> None:
    """Keep a new run from being swapped in until the transaction ends."""
    connection.execute(SQL["share_score_lock"])


def take_reschedule_lock(connection: Connection) -> None:
    """Be the only one who changes single scores until the transaction ends."""
    connection.execute(SQL["take_reschedule_lock"])


def open_run(connection: Connection, policy_version: int, as_of: date, joints: int) -> ScoreRun:
    """Begin a run that nobody sees before it is published."""
    run = _one(connection, "open_run", ScoreRun, policy_version=policy_version, as_of=as_of, joints=joints)
    assert run is not None, "INSERT … RETURNING gives its row"
    return run


def read_site_id(connection: Connection) -> int:
    """The site that the transaction is set to."""
    row = connection.execute(SQL["read_site_id"]).fetchone()
    assert row is not None, "a function gives a row"
    assert row[0] is not None, "the transaction is set to a site"
    return int(row[0])


def read_current_run(connection: Connection) -> ScoreRun | None:
    """The run that is shown."""
    return _one(connection, "read_current_run", ScoreRun)


def publish_scores(connection: Connection, site_id: int, run: ScoreRun, joints: JointColumns, scores: Scores) -> None:
    """Write a run's scores beside the current ones and put them in their place."""
    row = connection.execute(SQL["create_partition"], {"score_run_id": run.score_run_id}).fetchone()
    assert row is not None, "a function gives a row"
    columns = _score_columns(site_id, run.score_run_id, joints, scores)
    copy_columns(connection, str(row[0]), columns, _SCORE_TYPES, table_is_new=True)
    connection.execute(SQL["publish_partition"], {"score_run_id": run.score_run_id})


def update_scores(connection: Connection, site_id: int, run: ScoreRun, joints: JointColumns, scores: Scores) -> int:
    """Put the scores of some joints in their run and return how many were there."""
    connection.execute(SQL["drop_rescored"])
    connection.execute(SQL["make_rescored"])
    columns = _score_columns(site_id, run.score_run_id, joints, scores)
    copy_columns(connection, "rescored", columns, _SCORE_TYPES)
    return connection.execute(SQL["update_scores"]).rowcount


def call_in_recalled(connection: Connection, recall_id: int) -> int:
    """Bring forward the due dates of a recall's joints in the current run and return how many moved."""
    return connection.execute(SQL["call_in_recalled"], {"recall_id": recall_id}).rowcount


def read_inputs(
    connection: Connection, as_of: date, leaks_since_on: date, joint_ids: Sequence[int] | None = None
) -> ScoreInputs:
    """What the score takes: of the whole site, or of the given joints alone and just what bears on them."""
    chosen = None if joint_ids is None else list(joint_ids)
    columns = read_columns(connection, SQL["read_joint_columns"], _JOINT_TYPES, {"as_of": as_of, "joint_ids": chosen})
    for name, kind in _JOINT_TYPES.items():
        if kind == "date":
            columns[name][columns[name] == _NOT_GIVEN] = np.datetime64("NaT")
    nearby = read_columns(
        connection, SQL["read_nearby_leaks"], _NEARBY_TYPES, {"since_on": leaks_since_on, "joint_ids": chosen}
    )
    return ScoreInputs(
        joints=JointColumns(**columns),
        family_codes=dict(connection.execute(SQL["list_families"]).fetchall()),
        service_names=dict(connection.execute(SQL["list_services"]).fetchall()),
        area_occupancy=dict(connection.execute(SQL["list_areas"]).fetchall()),
        line_readings=read_line_readings(connection, chosen),
        zones=read_vibration_zones(connection),
        thermal_histories=read_thermal_histories(connection, chosen),
        nearby_leaks=NearbyLeaks(**nearby),
    )


def list_joints_of_lines(connection: Connection, joint_ids: Sequence[int]) -> list[int]:
    """Every joint on the lines of the given ones, those included."""
    rows = connection.execute(SQL["list_joints_of_lines"], {"joint_ids": list(joint_ids)}).fetchall()
    return [int(row[0]) for row in rows]


def read_risk_columns(connection: Connection, score_run_id: int) -> Columns:
    """`joint_id` and `risk_now` of every joint of a run."""
    return read_columns(
        connection,
        SQL["read_risk_columns"],
        {"joint_id": "integer", "risk_now": "double precision"},
        {"score_run_id": score_run_id},
    )


def list_scored(connection: Connection, score_run_id: int, joint_ids: Sequence[int]) -> list[int]:
    """Those of some joints that a run has."""
    rows = connection.execute(
        SQL["list_scored"], {"score_run_id": score_run_id, "joint_ids": list(joint_ids)}
    ).fetchall()
    return [int(row[0]) for row in rows]


def read_ranks(connection: Connection, score_run_id: int, joint_ids: Sequence[int]) -> Columns:
    """`joint_id`, `risk_now` and `risk_rank` of some joints of a run, by number."""
    return read_columns(
        connection,
        SQL["read_ranks"],
        {"joint_id": "integer", "risk_now": "double precision", "risk_rank": "integer"},
        {"score_run_id": score_run_id, "joint_ids": list(joint_ids)},
    )


def count_less_risky(
    connection: Connection, score_run_id: int, joint_id: int, risk_now: float, left_out: Sequence[int]
) -> int:
    """How many joints of a run, some left out, come after a joint at a risk in the order of risk."""
    row = connection.execute(
        SQL["count_less_risky"],
        {"score_run_id": score_run_id, "joint_id": joint_id, "risk_now": risk_now, "left_out": list(left_out)},
    ).fetchone()
    assert row is not None, "counting gives a row"
    return int(row[0])


def list_workload(connection: Connection, score_run_id: int, as_of: date, before_on: date) -> list[Workload]:
    """The checks of a run that fall due before a day [min], by family; what is overdue counts as due on `as_of`."""
    given = {"score_run_id": score_run_id, "as_of": as_of, "before_on": before_on}
    with connection.cursor(row_factory=class_row(Workload)) as cursor:
        return cursor.execute(SQL["list_workload"], given).fetchall()


def summarise_run(connection: Connection, run: ScoreRun) -> Mapping[str, int]:
    """Counts of a run's joints by name, as `ScoreSummary` has them."""
    cursor = connection.execute(SQL["summarise_run"], {"score_run_id": run.score_run_id, "as_of": run.as_of})
    row = cursor.fetchone()
    assert row is not None, "counting gives a row"
    assert cursor.description is not None, "a row has columns"
    return {column.name: int(value) for column, value in zip(cursor.description, row, strict=True)}


def read_score(connection: Connection, score_run_id: int, joint_id: int) -> StoredScore | None:
    """What a run says of one joint."""
    return _one(connection, "read_score", StoredScore, score_run_id=score_run_id, joint_id=joint_id)


def list_tags_of(connection: Connection, joint_ids: Sequence[int]) -> dict[int, str]:
    """The tags of joints, by number."""
    return dict(connection.execute(SQL["list_tags_of"], {"joint_ids": list(joint_ids)}).fetchall())


def read_due(connection: Connection, joint_id: int) -> tuple[date, int] | None:
    """When a joint falls due in the current run, and the code of the reason."""
    row = connection.execute(SQL["read_due"], {"joint_id": joint_id}).fetchone()
    return None if row is None else (row[0], int(row[1]))


def list_due(
    connection: Connection,
    score_run_id: int,
    chosen: DueFilter,
    *,
    after: tuple[date, float, int] | None = None,
    limit: int = 200,
) -> list[DueJoint]:
    """A page of the due list; `after` is due date, risk and number of the last joint of the page before."""
    after_due_on, after_risk, after_joint_id = after or (None, None, None)
    with connection.cursor(row_factory=class_row(DueJoint)) as cursor:
        return cursor.execute(
            SQL["list_due"],
            {
                "score_run_id": score_run_id,
                "area": chosen.area,
                "family": chosen.family,
                "service": chosen.service,
                "before_on": chosen.before_on,
                "until_on": chosen.until_on,
                "after_due_on": after_due_on,
                "after_risk": after_risk,
                "after_joint_id": after_joint_id,
                "limit": limit,
            },
        ).fetchall()


def add_override(connection: Connection, joint_id: int, request: OverrideRequest) -> int:
    """Record an engineer's decision and return its number."""
    row = connection.execute(
        SQL["add_override"],
        {
            "joint_id": joint_id,
            "interval_days": request.interval_days,
            "until_on": request.until_on,
            "decided_by": request.decided_by,
            "reason": request.reason,
        },
    ).fetchone()
    assert row is not None, "INSERT … RETURNING gives its row"
    return int(row[0])


def list_overrides(
    connection: Connection, *, tag: str | None = None, in_force_on: date | None = None
) -> list[Override]:
    """Decisions on intervals: of one joint, or of all; all that were taken, or those in force on a day."""
    with connection.cursor(row_factory=class_row(Override)) as cursor:
        return cursor.execute(SQL["list_overrides"], {"tag": tag, "in_force_on": in_force_on}).fetchall()


def _score_columns(site_id: int, score_run_id: int, joints: JointColumns, scores: Scores) -> Columns:
    count = len(joints)
    own: Columns = {
        "site_id": np.broadcast_to(np.int32(site_id), count),
        "score_run_id": np.broadcast_to(np.int32(score_run_id), count),
        "location": np.stack((joints.east_m, joints.north_m), axis=1),
    }
    of_joint = ("elevation_m", "area_id", "line_id", "family_id", "service_id")
    return {
        name: own[name] if name in own else getattr(joints if name in of_joint else scores, name)
        for name in _SCORE_TYPES
    }


def _one(connection: Connection, query: str, kind: type[Row], **parameters: Any) -> Row | None:
    with connection.cursor(row_factory=class_row(kind)) as cursor:
        return cursor.execute(SQL[query], parameters).fetchone()
