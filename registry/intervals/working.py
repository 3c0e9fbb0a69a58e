"""The whole chain for a block of joints, every step kept: the stored score and the account of one joint both read
it."""

from dataclasses import dataclass, fields
from datetime import date
from typing import Final

import numpy as np
from numpy.typing import NDArray

from registry.exposure.fluid import Outflow, outflow
from registry.exposure.thermal_sources import ThermalExposure, thermal_exposure
from registry.exposure.vibration import problem_velocity
from registry.exposure.vibration_sources import ASSUMED as VIBRATION_ASSUMED
from registry.exposure.vibration_sources import VibrationExposure, vibration_exposure
from registry.intervals.bolt_load import days_until_fraction, hot_loss_per_decade
from registry.intervals.due import CHECK, NOTHING, Clock, Due, clock, due, leak_nearby, years_since
from registry.intervals.interval import Interval, interval
from registry.intervals.model import DAYS_PER_YEAR, JointColumns, ScoreInputs
from registry.intervals.tables import PolicyTables
from registry.policy.model import ACCESS, OCCUPANCY, Policy
from registry.risk.classes import likelihood_class
from registry.risk.consequence import Consequence, consequence_class
from registry.risk.defects import delay_rate, size_factor, thermal_factor, vibration_factor
from registry.risk.delay_time import defects_missed, leak_rate_now
from registry.risk.model import Assumed

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]
Flags = NDArray[np.bool_]

MAKE_UP_STATES: Final = ("accepted_and_witnessed", "accepted", "no_record", "not_accepted")
"""What is known of the last make-up; `make_up_state` is the position here, and the name is the policy's key."""

WITNESSED, ACCEPTED, NO_RECORD, NOT_ACCEPTED = range(4)


@dataclass(frozen=True, slots=True)
class Exposure:
    """What works on each joint of a site."""

    vibration: VibrationExposure
    thermal: ThermalExposure

    def rows(self, chosen: slice) -> "Exposure":
        """Return these joints only."""
        vibration, thermal = self.vibration, self.thermal
        return Exposure(
            VibrationExposure(*(getattr(vibration, column.name)[chosen] for column in fields(vibration))),
            ThermalExposure(*(getattr(thermal, column.name)[chosen] for column in fields(thermal))),
        )


@dataclass(frozen=True, slots=True)
class Working:
    """Every step for a block of joints, one entry a joint."""

    family: Rows
    service: Rows
    size_mm: Floats
    temperature_degc: Floats
    occupancy: Rows
    access: Rows
    make_up_state: Rows
    exposure: Exposure
    base_rate_per_year: Floats
    vibration_factor: Floats
    thermal_factor: Floats
    make_up_factor: Floats
    plant_factor: Floats
    defect_rate_per_year: Floats
    delay_rate_per_year: Floats
    detection_probability: Floats
    outflow: Outflow
    consequence: Consequence
    tolerable_leaks_per_year: Floats
    interval: Interval
    vibration_action: Flags
    clock: Clock
    due: Due
    leak_rate_now_per_year: Floats
    likelihood_class: NDArray[np.int16]
    risk_now: Floats
    check_minutes: Floats
    assumed_inputs: NDArray[np.int16]


def exposure(inputs: ScoreInputs, policy: Policy) -> Exposure:
    """Return what works on each joint of a site, from its readings, its line's, the plot plan and the policy."""
    joints, assumed, thermal = inputs.joints, policy.assumed, policy.thermal
    return Exposure(
        vibration_exposure(
            joints.east_m,
            joints.north_m,
            joints.line_id,
            [
                (joints.last_vibration_mm_s, joints.last_vibration_hz),
                (joints.vibration_mm_s, joints.vibration_hz),
            ],
            inputs.line_readings,
            inputs.zones,
            policy.vibration.line_distance_m,
            assumed.vibration_mm_s,
            assumed.vibration_hz,
        ),
        thermal_exposure(
            joints.joint_id,
            joints.line_id,
            joints.thermal_cycles_per_year,
            joints.thermal_range_degc,
            inputs.thermal_histories,
            thermal.reference_range_degc,
            thermal.range_exponent,
            assumed.thermal_cycles_per_year,
            assumed.thermal_range_degc,
        ),
    )


def working(
    joints: JointColumns, works: Exposure, inputs: ScoreInputs, tables: PolicyTables, policy: Policy, as_of: date
) -> Working:
    """Return every step from exposure to due date for a block of joints; `works` is that of the same joints."""
    table = tables.families
    family = tables.family_of(joints.family_id)
    given_service = tables.service_of(joints.service_id)
    service = np.where(given_service < 0, tables.assumed_service, given_service)
    size = np.where(np.isnan(joints.size_mm), table.assumed_size_mm[family], joints.size_mm)
    temperature = _temperature(joints.temperature_degc, service, tables, policy)
    given_occupancy = tables.occupancy_of(joints.area_id)
    occupancy = np.where(given_occupancy < 0, OCCUPANCY.index(policy.assumed.occupancy), given_occupancy)
    access = np.where(joints.access > 0, joints.access - 1, ACCESS.index(policy.assumed.access)).astype(np.intp)
    make_up_state = _make_up_state(joints)

    base = table.defect_rate_per_year[family] * size_factor(
        size, table.size_reference_mm[family], table.size_exponent[family]
    )
    by_vibration = vibration_factor(
        works.vibration.velocity_mm_s, works.vibration.frequency_hz, policy.vibration.exponent, policy.vibration.cap
    )
    by_cycles = thermal_factor(
        works.thermal.equivalent_cycles_per_year,
        policy.thermal.design_years,
        policy.thermal.edition,
        policy.thermal.factor_max,
        policy.thermal.factor_min,
        policy.thermal.exponent,
    )
    by_make_up = np.array([getattr(policy.make_up, name) for name in MAKE_UP_STATES])[make_up_state]
    by_plant = tables.plant_factor[family, service]
    defect_rate = base * by_vibration * by_cycles * by_make_up * by_plant
    delay = delay_rate(table.delay_rate_per_year[family], by_vibration, policy.vibration.delay_exponent)
    detection = table.detection_probability[family]

    fluids = tables.fluids.rows(service)
    out = outflow(
        fluids,
        table.reference_hole_mm[family],
        joints.pressure_barg,
        temperature,
        policy.release.discharge_coefficient,
        policy.release.atmospheric_pressure_pa,
    )
    worst = consequence_class(
        service,
        tables.hazards,
        out.release_kg_s,
        joints.pressure_barg,
        temperature,
        fluids.auto_ignition_degc,
        occupancy,
        policy.consequence,
    )
    row = worst.number - 1
    tolerable = tables.tolerable[row]
    found = interval(
        defect_rate,
        delay,
        detection,
        tolerable,
        table.floor_days[family, row],
        table.cap_days[family, row],
        joints.override_days,
    )

    started = clock(joints, as_of, policy.assumed.years_since_check)
    missed = defects_missed(defect_rate, delay * found.days / DAYS_PER_YEAR, delay, detection)
    carried = np.where(started.started_by == CHECK, missed, 0.0)
    leak_rate = leak_rate_now(defect_rate, delay, years_since(started.last, as_of), carried)
    loss = hot_loss_per_decade(
        table.loss_per_decade[family],
        temperature,
        table.hot_from_degc[family],
        table.loss_growth_per_100_degc[family],
    )
    when = due(
        started,
        found.days,
        table.settling_days[family],
        policy.settling.expires_days,
        days_until_fraction(table.least_fraction[family], loss, table.first_days[family]),
        leak_nearby(joints, started.last, inputs.nearby_leaks, policy.leak_nearby, as_of),
        policy.leak_nearby.days,
        joints.recall_due_on,
        as_of,
    )
    size_matters = table.size_exponent[family] > 0
    return Working(
        family=family,
        service=service,
        size_mm=size,
        temperature_degc=temperature,
        occupancy=occupancy,
        access=access,
        make_up_state=make_up_state,
        exposure=works,
        base_rate_per_year=base,
        vibration_factor=by_vibration,
        thermal_factor=by_cycles,
        make_up_factor=by_make_up,
        plant_factor=by_plant,
        defect_rate_per_year=defect_rate,
        delay_rate_per_year=delay,
        detection_probability=detection,
        outflow=out,
        consequence=worst,
        tolerable_leaks_per_year=tolerable,
        interval=found,
        vibration_action=works.vibration.velocity_mm_s >= problem_velocity(works.vibration.frequency_hz),
        clock=started,
        due=when,
        leak_rate_now_per_year=leak_rate,
        likelihood_class=likelihood_class(leak_rate, policy.likelihood.edges_per_year),
        risk_now=leak_rate * tables.weight[row],
        check_minutes=table.check_minutes[family] + table.access_minutes[family, access],
        assumed_inputs=_assumed_inputs(
            {
                Assumed.SIZE: np.isnan(joints.size_mm) & size_matters,
                Assumed.TEMPERATURE: np.isnan(joints.temperature_degc),
                Assumed.VIBRATION: works.vibration.source == VIBRATION_ASSUMED,
                Assumed.FREQUENCY: works.vibration.frequency_assumed & (works.vibration.source != VIBRATION_ASSUMED),
                Assumed.THERMAL_CYCLES: works.thermal.cycles_assumed,
                Assumed.THERMAL_RANGE: works.thermal.range_assumed,
                Assumed.ACCESS: joints.access <= 0,
                Assumed.OCCUPANCY: given_occupancy < 0,
                Assumed.MAKE_UP: make_up_state == NO_RECORD,
                Assumed.LAST_CHECK: started.started_by == NOTHING,
                Assumed.SERVICE: given_service < 0,
                Assumed.REFUSED_READING: works.vibration.refused,
            },
            len(joints),
        ),
    )


def _temperature(given: Floats, service: Rows, tables: PolicyTables, policy: Policy) -> Floats:
    by_service = np.array(
        [
            policy.assumed.temperature_degc if row.assumed_temperature_degc is None else row.assumed_temperature_degc
            for row in tables.services
        ]
    )
    return np.where(np.isnan(given), by_service[service], given)


def _make_up_state(joints: JointColumns) -> Rows:
    accepted = np.where(joints.last_make_up_witnessed, WITNESSED, ACCEPTED)
    recorded = np.where(joints.last_make_up_accepted, accepted, NOT_ACCEPTED)
    return np.where(np.isnat(joints.last_make_up_on), NO_RECORD, recorded).astype(np.intp)


def _assumed_inputs(flags: dict[Assumed, Flags], count: int) -> NDArray[np.int16]:
    bits = np.zeros(count, np.int16)
    for flag, raised in flags.items():
        bits |= raised.astype(np.int16) * np.int16(flag)
    return bits
