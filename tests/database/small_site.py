"""A small generated site straight in the tables: joints of every family and service, given and missing inputs mixed."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np

from registry.db import Connection
from registry.joints.store import add_new_families, add_new_services
from registry.policy.service import publish_first

AS_OF = date(2026, 11, 25)
AREAS = {"Electrolysis hall": "frequent", "Hydrogen compression": "occasional", "Jetty": "rare"}


def number(connection: Connection, statement: str, *parameters: Any) -> int:
    """The single whole number that a statement gives."""
    row = connection.execute(statement, parameters).fetchone()
    assert row is not None
    return int(row[0])


def new_intake(connection: Connection, kind: str = "joints") -> int:
    """An intake to hang rows on."""
    return number(
        connection,
        "INSERT INTO intake (site_id, kind, source_name, content_sha256, rows_read, rows_loaded, rows_refused)"
        " VALUES (current_site(), %s, 'made here', '\\x00', 0, 0, 0) RETURNING intake_id",
        kind,
    )


def fill_site(connection: Connection, joints: int = 60, lines: int = 8, seed: int = 1) -> list[str]:
    """Areas, lines, joints, readings, make-ups, checks and leaks by a seed; returns the tags."""
    rng = np.random.default_rng(seed)
    policy = publish_first(connection)
    add_new_families(connection)
    add_new_services(connection)
    intake_id = new_intake(connection)
    areas = [
        number(
            connection,
            "INSERT INTO area (site_id, name, occupancy) VALUES (current_site(), %s, %s) RETURNING area_id",
            name,
            occupancy,
        )
        for name, occupancy in AREAS.items()
    ]
    line_ids = [
        number(
            connection, "INSERT INTO line (site_id, code) VALUES (current_site(), %s) RETURNING line_id", f"L-{at:03d}"
        )
        for at in range(lines)
    ]
    connection.execute(
        "INSERT INTO plan_feature (site_id, intake_id, kind, name, properties, geometry) VALUES (current_site(), %s,"
        ' \'vibration_source\', \'K-101\', \'{"velocity_mm_s": 9, "frequency_hz": 25, "radius_m": 40, "decay": 0.5}\','
        ' \'{"type": "Point", "coordinates": [100, 100, 0]}\')',
        [intake_id],
    )
    families, services = len(policy.families), len(policy.services)

    def maybe(value: float | int | str | date, chance: float = 0.7) -> Any:
        return value if rng.random() < chance else None

    tags = [f"J-{at:05d}" for at in range(joints)]
    rows = []
    for tag in tags:
        line = int(rng.integers(lines))
        rows.append(
            (
                tag,
                int(rng.integers(1, families + 1)),
                int(rng.integers(1, services + 1)),
                maybe(line_ids[line], 0.9),
                maybe(areas[int(rng.integers(len(areas)))], 0.9),
                maybe(float(rng.choice([6, 12, 25, 50, 100, 300]))),
                float(rng.uniform(0, 200)),
                float(rng.uniform(0, 200)),
                maybe(float(rng.choice([0, 5.5, 11]))),
                float(rng.choice([-0.5, 2, 16, 40, 300])),
                maybe(float(rng.uniform(-40, 400))),
                maybe(AS_OF - timedelta(days=int(rng.integers(1, 3000))), 0.4),
                maybe(float(rng.gamma(2, 4)), 0.3),
                maybe(float(rng.uniform(0.5, 320)), 0.8),
                maybe(float(rng.uniform(1, 500)), 0.3),
                maybe(float(rng.uniform(5, 200)), 0.3),
                maybe(str(rng.choice(["grade", "platform", "ladder", "scaffold"])), 0.6),
                intake_id,
            )
        )
    with connection.cursor() as cursor:
        cursor.executemany(
            "INSERT INTO joint (site_id, tag, family_id, service_id, line_id, area_id, size_mm, location, elevation_m,"
            " pressure_barg, temperature_degc, made_up_on, vibration_mm_s, vibration_hz, thermal_cycles_per_year,"
            " thermal_range_degc, access, intake_id) VALUES (current_site(), %s, %s, %s, %s, %s, %s, point(%s, %s), %s,"
            " %s, %s, %s, %s, %s, %s, %s, %s, %s)",
            rows,
        )
    _fill_history(connection, rng, intake_id, line_ids)
    return tags


def _fill_history(connection: Connection, rng: np.random.Generator, intake_id: int, line_ids: list[int]) -> None:
    joint_ids = [
        int(row[0])
        for row in connection.execute("SELECT joint_id FROM joint WHERE site_id = current_site() ORDER BY 1").fetchall()
    ]

    def some(share: float) -> list[int]:
        return sorted(rng.choice(joint_ids, max(1, int(share * len(joint_ids))), replace=False).tolist())

    def past(days: int = 1500) -> datetime:
        return datetime(2026, 11, 24, 10, tzinfo=UTC) - timedelta(days=int(rng.integers(days)))

    with connection.cursor() as cursor:
        cursor.executemany(
            "INSERT INTO vibration_reading (site_id, joint_id, velocity_mm_s, frequency_hz, observed_at, intake_id)"
            " VALUES (current_site(), %s, %s, %s, %s, %s)",
            [(joint, float(rng.gamma(2, 5)), float(rng.uniform(1, 310)), past(), intake_id) for joint in some(0.2)],
        )
        cursor.executemany(
            "INSERT INTO vibration_reading (site_id, line_id, location, velocity_mm_s, frequency_hz, observed_at,"
            " intake_id) VALUES (current_site(), %s, point(%s, %s), %s, %s, %s, %s)",
            [
                (line, float(east), float(north), float(rng.gamma(2, 5)), float(rng.uniform(2, 200)), past(), intake_id)
                for line in line_ids[::2]
                for east, north in rng.uniform(0, 200, (6, 2))
            ],
        )
        cursor.executemany(
            "INSERT INTO temperature_history (site_id, joint_id, line_id, observed_at, temperature_degc, began_at,"
            " ended_at, cycle_range_degc, cycle_count, intake_id)"
            " VALUES (current_site(), %s, %s, ARRAY[%s, %s]::timestamptz[], ARRAY[20, 80], %s, %s, %s, %s, %s)",
            [
                (joint, line, start, end, start, end, [60.0, 25.0], [float(rng.uniform(10, 400)), 30.0], intake_id)
                for joint, line in [(some(0.01)[0], None), (None, line_ids[0])]
                for start, end in [(datetime(2024, 1, 1, tzinfo=UTC), datetime(2026, 1, 1, tzinfo=UTC))]
            ],
        )
        cursor.executemany(
            "INSERT INTO make_up (site_id, joint_id, made_up_on, fitter, witness, method, verdict)"
            " VALUES (current_site(), %s, %s, 'A. Fitter', %s, 'torque', %s)",
            [
                (
                    joint,
                    past().date(),
                    rng.choice([None, "W. Witness"]),
                    rng.choice(["accepted", "accepted", "not accepted"]),
                )
                for joint in some(0.4)
            ],
        )
        cursor.executemany(
            "INSERT INTO check_result (site_id, joint_id, observed_at, result, checked_by)"
            " VALUES (current_site(), %s, %s, %s, 'C. Checker')",
            [(joint, past(), rng.choice(["tight", "tight", "retightened", "weeping"])) for joint in some(0.5)],
        )
        cursor.executemany(
            "INSERT INTO leak (site_id, joint_id, observed_at, severity, found_during)"
            " VALUES (current_site(), %s, %s, %s, 'operation')",
            [(joint, past(200), rng.choice(["weep", "drip"])) for joint in some(0.05)],
        )
