"""From the plant to the process that drives its history: the model's factors on the true rates, and the life it led."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from registry.demo.answers import answered
from registry.demo.areas import AREAS
from registry.demo.history import ACCEPTED, NO_RECORD, NOT_ACCEPTED, WITNESSED, History, Process, simulated_history
from registry.demo.joints import FAMILIES, Plant
from registry.demo.layout import SOURCE_DECAY, FloatArray, sources_of
from registry.demo.make_ups import FirstMakeUps, MakeUps, all_make_ups, first_make_ups, make_up_states, with_overhaul
from registry.demo.papers import overhaul_on
from registry.demo.readings import Temperatures, Vibration, temperature_histories, vibration_readings
from registry.demo.schedule import check_schedule
from registry.demo.truth import FAMILY_TRUTH, true_base_rates, true_plant_factors
from registry.exposure.rainflow import rainflow_cycles
from registry.exposure.readings import LineReadings, ThermalHistory, VibrationZones
from registry.intervals.model import JointColumns, ScoreInputs, Scores
from registry.intervals.scores import scores
from registry.policy.model import Policy

SERVICES: tuple[str, ...] = tuple(sorted({system.service for area in AREAS for system in area.systems}))


@dataclass(frozen=True, slots=True)
class Life:
    """Everything that was ever recorded about the plant's joints, and the process that it came from."""

    vibration: Vibration
    temperatures: Temperatures
    make_ups: MakeUps
    history: History
    process: Process


def simulated_life(plant: Plant, policy: Policy, seed: int, as_of: date) -> Life:
    """Let the plant run up to `as_of`; the same arguments give the same life."""
    measuring, assembling, checking, naming, living, answering = np.random.SeedSequence([seed, 1]).spawn(6)
    measured = np.random.default_rng(measuring)
    vibration = vibration_readings(plant, measured)
    temperatures = temperature_histories(plant, measured)
    first = first_make_ups(plant.joints, np.random.default_rng(assembling))
    found = scores(score_inputs(plant, vibration, temperatures, first), policy, as_of)
    process = true_process(plant, policy, found, first)
    schedule = check_schedule(
        found.interval_days, found.consequence_class, plant.joints.area, np.random.default_rng(checking)
    )
    first_run = simulated_history(process, schedule, np.random.default_rng(living))
    schedule = answered(schedule, first_run, plant.joints, np.random.default_rng(answering))
    history = simulated_history(process, schedule, np.random.default_rng(living))
    named = np.random.default_rng(naming)
    today, overhaul = np.datetime64(as_of, "D"), np.datetime64(overhaul_on(as_of), "D")
    make_ups = all_make_ups(plant.joints, first, history.remakes, today, named)
    opening = np.random.default_rng([seed, 6])
    make_ups = with_overhaul(make_ups, plant.joints, process.make_up_state, history, today, overhaul, opening)
    return Life(vibration, temperatures, make_ups, history, process)


def true_process(plant: Plant, policy: Policy, found: Scores, first: FirstMakeUps) -> Process:
    """The process that the joints truly follow: true rates and plant factors, the model's vibration and temperature."""
    truths = [FAMILY_TRUTH[code] for code in FAMILIES]
    family = plant.joints.family
    factor = np.empty(4)
    factor[[NO_RECORD, NOT_ACCEPTED, ACCEPTED, WITNESSED]] = [
        policy.make_up.no_record,
        policy.make_up.not_accepted,
        policy.make_up.accepted,
        policy.make_up.accepted_and_witnessed,
    ]
    return Process(
        rate_without_make_up=true_base_rates(plant)
        * found.vibration_factor
        * found.thermal_factor
        * true_plant_factors(plant),
        delay_rate=np.array([row.delay_rate_per_year for row in truths])[family]
        * found.vibration_factor**policy.vibration.delay_exponent,
        detection_probability=np.array([row.detection_probability for row in truths])[family],
        make_up_factor=factor,
        make_up_state=make_up_states(len(plant.joints), first),
        consequence_class=found.consequence_class,
    )


def score_inputs(plant: Plant, vibration: Vibration, temperatures: Temperatures, first: FirstMakeUps) -> ScoreInputs:
    """The plant as the model takes it, before anybody has checked a joint; ids are positions counted from 1."""
    joints, lines = plant.joints, plant.lines
    count = len(joints)
    sources = [source for block in plant.blocks for source in sources_of(block)]
    latest_velocity, latest_frequency = _latest_on_joints(count, vibration)
    made_up_on = np.full(count, np.datetime64("NaT"), dtype="datetime64[D]")
    made_up_on[first.joint] = first.made_up_on
    state = make_up_states(count, first)
    service = np.array([[SERVICES.index(s.service) for s in a.systems] + [0] * (16 - len(a.systems)) for a in AREAS])
    never = np.full(count, np.datetime64("NaT"), dtype="datetime64[D]")
    columns = JointColumns(
        joint_id=np.arange(1, count + 1, dtype=np.int32),
        east_m=joints.east_m,
        north_m=joints.north_m,
        elevation_m=joints.elevation_m,
        area_id=(joints.block * len(AREAS) + joints.area + 1).astype(np.int32),
        line_id=(joints.line + 1).astype(np.int32),
        family_id=(joints.family + 1).astype(np.int16),
        service_id=(service[joints.area, lines.system[joints.line]] + 1).astype(np.int16),
        size_mm=joints.size_mm,
        pressure_barg=joints.pressure_barg,
        temperature_degc=joints.temperature_degc,
        made_up_on=joints.made_up_on,
        vibration_mm_s=joints.vibration_mm_s,
        vibration_hz=joints.vibration_hz,
        thermal_cycles_per_year=joints.cycles_per_year,
        thermal_range_degc=joints.range_degc,
        access=(joints.access + 1).astype(np.int16),
        last_vibration_mm_s=latest_velocity,
        last_vibration_hz=latest_frequency,
        last_make_up_on=made_up_on,
        last_make_up_accepted=state >= ACCEPTED,
        last_make_up_witnessed=state == WITNESSED,
        last_satisfactory_on=never,
        override_days=np.full(count, np.nan),
        recall_due_on=never,
    )
    areas = {block.index * len(AREAS) + i + 1: area.occupancy for block in plant.blocks for i, area in enumerate(AREAS)}
    return ScoreInputs(
        joints=columns,
        family_codes={position + 1: code for position, code in enumerate(FAMILIES)},
        service_names={position + 1: name for position, name in enumerate(SERVICES)},
        area_occupancy=areas,
        line_readings=_latest_on_lines(vibration),
        zones=VibrationZones(
            east_m=np.array([s.east_m for s in sources]),
            north_m=np.array([s.north_m for s in sources]),
            velocity_mm_s=np.array([s.velocity_mm_s for s in sources]),
            frequency_hz=np.array([s.frequency_hz for s in sources]),
            radius_m=np.array([s.radius_m for s in sources]),
            decay=np.full(len(sources), SOURCE_DECAY),
        ),
        thermal_histories=_counted(temperatures),
    )


def _latest_on_joints(count: int, vibration: Vibration) -> tuple[FloatArray, FloatArray]:
    velocity, frequency = np.full(count, np.nan), np.full(count, np.nan)
    own = np.flatnonzero(vibration.joint >= 0)
    own = own[np.argsort(vibration.day[own], kind="stable")]
    # Later assignments win, so the newest stays.
    velocity[vibration.joint[own]] = vibration.velocity_mm_s[own]
    frequency[vibration.joint[own]] = vibration.frequency_hz[own]
    return velocity, frequency


def _latest_on_lines(vibration: Vibration) -> LineReadings:
    rows = np.flatnonzero(vibration.joint < 0)
    rows = rows[np.argsort(-vibration.day[rows], kind="stable")]
    place = np.column_stack(
        [vibration.line[rows], vibration.east_m[rows], vibration.north_m[rows], vibration.frequency_hz[rows]]
    )
    _, newest = np.unique(place, axis=0, return_index=True)
    rows = rows[np.sort(newest)]
    return LineReadings(
        line_id=vibration.line[rows] + 1,
        east_m=vibration.east_m[rows],
        north_m=vibration.north_m[rows],
        velocity_mm_s=vibration.velocity_mm_s[rows],
        frequency_hz=vibration.frequency_hz[rows],
    )


def _counted(temperatures: Temperatures) -> list[ThermalHistory]:
    span = float(temperatures.day[-1] - temperatures.day[0]) / 365.25
    counted: list[ThermalHistory] = []
    for line, series in zip(temperatures.line.tolist(), temperatures.temperature_degc, strict=True):
        cycles = rainflow_cycles(series)
        counted.append(ThermalHistory(0, line + 1, span, cycles.ranges, cycles.counts))
    return counted
