"""What was measured at Saltmarsh Point: vibration round the machines every quarter, temperatures of some lines."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from registry.demo.joints import Plant
from registry.demo.layout import SOURCE_DECAY, FloatArray, IntArray, sources_of

QUARTERS = 20
_QUARTER_DAYS = 91.3
_POINTS_A_MACHINE = 5
_LINES_A_BLOCK = 24
_SAMPLES = 480
_SAMPLE_DAYS = 0.25


@dataclass(frozen=True, slots=True)
class Vibration:
    """Readings in order of time: on a joint, or at a place on a line (joint -1)."""

    joint: IntArray
    line: IntArray
    east_m: FloatArray
    north_m: FloatArray
    velocity_mm_s: FloatArray
    frequency_hz: FloatArray
    day: FloatArray


@dataclass(frozen=True, slots=True)
class Temperatures:
    """One series a line: `temperature_degc` is (lines, samples), `day` the time of each sample."""

    line: IntArray
    day: FloatArray
    temperature_degc: FloatArray


def vibration_readings(plant: Plant, generator: np.random.Generator) -> Vibration:
    """Readings of five years: at a few joints of each machine every quarter, and in a walk along a line beside it."""
    joints = plant.joints
    reachable = np.flatnonzero(np.nan_to_num(joints.elevation_m, nan=9.0) < 2.5)
    tree = KDTree(np.column_stack([joints.east_m[reachable], joints.north_m[reachable]]))
    sources = [source for block in plant.blocks for source in sources_of(block)]
    subject: list[int] = []
    machine: list[int] = []
    for number, source in enumerate(sources):
        near = reachable[tree.query_ball_point((source.east_m, source.north_m), source.radius_m * 0.75)]
        chosen = generator.choice(near, size=min(_POINTS_A_MACHINE, len(near)), replace=False)
        subject += chosen.tolist()
        machine += [number] * len(chosen)
    # A joint between two machines is a point of the first of them only.
    points, position = np.unique(np.array(subject, dtype=np.int64), return_index=True)
    joint, which = points, np.array(machine, dtype=np.int64)[position]
    at = np.array([(s.east_m, s.north_m) for s in sources]).reshape(-1, 2)
    felt = (
        np.array([s.velocity_mm_s for s in sources])[which]
        * np.maximum(np.hypot(joints.east_m[joint] - at[which, 0], joints.north_m[joint] - at[which, 1]), 1.0)
        ** -SOURCE_DECAY
    )
    # One machine in twelve is wearing: it ends at nearly three times what it began with.
    wear = np.where(np.arange(len(sources)) % 12 == 11, 1.8, 0.0)[which]
    quarter = np.arange(QUARTERS)[:, None]
    grown = 1.0 + wear * quarter / (QUARTERS - 1)
    velocity = felt * grown * generator.lognormal(0.0, 0.12, (QUARTERS, len(joint)))
    frequency = np.array([s.frequency_hz for s in sources])[which] * generator.normal(
        1.0, 0.006, (QUARTERS, len(joint))
    )
    walk = -6.0 - (QUARTERS - 1 - quarter) * _QUARTER_DAYS + generator.uniform(0.0, 3.0, (QUARTERS, 1))
    hour = 0.34 + 0.2 * np.arange(len(joint)) / max(len(joint), 1)
    day: FloatArray = (np.floor(walk) + hour).astype(np.float64)
    # Every fifth point belongs to the line rather than the joint, in the last six quarters.
    on_line = np.broadcast_to((np.arange(len(joint)) % _POINTS_A_MACHINE == 0), day.shape)
    kept = ~on_line | np.broadcast_to(quarter >= QUARTERS - 6, day.shape)
    every = np.broadcast_to(joint, day.shape)
    return Vibration(
        joint=np.where(on_line, -1, every)[kept],
        line=np.where(on_line, joints.line[every], -1)[kept],
        east_m=joints.east_m[every][kept],
        north_m=joints.north_m[every][kept],
        velocity_mm_s=np.round(velocity[kept], 2),
        frequency_hz=np.round(frequency[kept], 1),
        day=day[kept],
    )


def temperature_histories(plant: Plant, generator: np.random.Generator) -> Temperatures:
    """Four samples a day over the last four months on lines that cycle, as the plant's instruments kept them."""
    lines = plant.lines
    used = np.unique(plant.joints.line)
    cycling = used[lines.cycles_per_year[used] >= 24]
    wanted = min(_LINES_A_BLOCK * len(plant.blocks), len(cycling))
    line = np.sort(generator.choice(cycling, size=wanted, replace=False))
    day: FloatArray = -1.0 - _SAMPLE_DAYS * np.arange(_SAMPLES, dtype=np.float64)[::-1]
    # A cycle is a shut-down and a start: warm, down for a while, warm again, with the weather on top.
    phase = generator.random((wanted, 1)) + day * lines.cycles_per_year[line][:, None] / 365.25
    down = (np.mod(phase, 1.0) < 0.3).astype(np.float64)
    depth = generator.uniform(0.6, 1.0, (wanted, _SAMPLES // 8)).repeat(8, axis=1)
    weather = 1.5 * np.sin(2 * np.pi * day) + generator.normal(0.0, 0.4, (wanted, _SAMPLES))
    temperature = lines.temperature_degc[line][:, None] - down * depth * lines.range_degc[line][:, None] + weather
    return Temperatures(line=line, day=day, temperature_degc=np.round(temperature, 1))
