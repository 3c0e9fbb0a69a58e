"""The policy and the site's codes as arrays, so that a joint's row is found by indexing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from registry.errors import Issue
from registry.exposure.fluid import FluidColumns, fluid_columns
from registry.intervals.model import DAYS_PER_YEAR, FamilyUnknown, ScoreInputs
from registry.policy.model import ACCESS, CLASSES, OCCUPANCY, Family, Policy, Service
from registry.risk.consequence import HazardTable, hazard_table

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class FamilyTable:
    """One row a family of the policy. NaN where a family has no settling check or no bolt load."""

    defect_rate_per_year: Floats
    size_reference_mm: Floats
    size_exponent: Floats
    assumed_size_mm: Floats
    delay_rate_per_year: Floats
    detection_probability: Floats
    reference_hole_mm: Floats
    check_minutes: Floats
    access_minutes: Floats
    settling_days: Floats
    loss_per_decade: Floats
    first_days: Floats
    hot_from_degc: Floats
    loss_growth_per_100_degc: Floats
    least_fraction: Floats
    cap_days: Floats
    floor_days: Floats


@dataclass(frozen=True, slots=True)
class PolicyTables:
    """The policy as arrays, and the way from the site's ids to its rows."""

    families: FamilyTable
    services: Sequence[Service]
    fluids: FluidColumns
    hazards: HazardTable
    plant_factor: Floats
    tolerable: Floats
    weight: Floats
    family_row: Rows
    service_row: Rows
    """-1 where the policy has no row for the service."""
    assumed_service: int
    occupancy: Rows
    """By area id; -1 where the area is not known."""

    def family_of(self, family_id: NDArray[np.integer]) -> Rows:
        """Return the policy's row of each family id."""
        return self.family_row[family_id]

    def service_of(self, service_id: NDArray[np.integer]) -> Rows:
        """Return the policy's row of each service id, -1 where it has none."""
        return _looked_up(self.service_row, service_id)

    def occupancy_of(self, area_id: NDArray[np.integer]) -> Rows:
        """Return the occupancy code of each area id, -1 where it is not known."""
        return _looked_up(self.occupancy, area_id)


def policy_tables(inputs: ScoreInputs, policy: Policy) -> PolicyTables:
    """Return the policy as arrays for a site, or raise `FamilyUnknown` where joints have a family without a row."""
    family_rows = {row.code: at for at, row in enumerate(policy.families)}
    service_rows = {row.name: at for at, row in enumerate(policy.services)}
    families = {key: _family_row(policy, family_rows, code) for key, code in inputs.family_codes.items()}
    _refuse_unknown(inputs, families)
    services = {key: _service_row(policy, service_rows, name) for key, name in inputs.service_names.items()}
    occupancy = {key: OCCUPANCY.index(word) for key, word in inputs.area_occupancy.items()}
    return PolicyTables(
        families=_family_table(policy),
        services=policy.services,
        fluids=fluid_columns([(row.treated_as, row.phase) for row in policy.services]),
        hazards=hazard_table(policy.services, policy.consequence),
        plant_factor=_plant_factors(policy, family_rows, service_rows),
        tolerable=np.array([row.tolerable_leaks_per_year for row in policy.classes]),
        weight=np.array([row.weight for row in policy.classes]),
        family_row=_by_id(families),
        service_row=_by_id(services),
        assumed_service=_service_row(policy, service_rows, policy.assumed.service),
        occupancy=_by_id(occupancy),
    )


def _family_row(policy: Policy, rows: Mapping[str, int], code: str) -> int:
    row = policy.family(code)
    return -1 if row is None else rows[row.code]


def _service_row(policy: Policy, rows: Mapping[str, int], name: str) -> int:
    row = policy.service(name)
    return -1 if row is None else rows[row.name]


def _refuse_unknown(inputs: ScoreInputs, families: Mapping[int, int]) -> None:
    used = np.unique(inputs.joints.family_id).tolist()
    unknown = [key for key in used if families.get(key, -1) < 0]
    if unknown:
        issues = [
            Issue(None, "family", inputs.family_codes.get(key, str(key)), "has joints but no row in the policy")
            for key in unknown
        ]
        names = ", ".join(str(issue.value) for issue in issues)
        raise FamilyUnknown(f"the policy has no row for families that joints are of: {names}", issues)


def _by_id(rows: Mapping[int, int]) -> Rows:
    table = np.full(max(rows, default=0) + 1, -1, np.intp)
    for key, row in rows.items():
        table[key] = row
    return table


def _looked_up(table: Rows, ids: NDArray[np.integer]) -> Rows:
    known = (ids >= 0) & (ids < len(table))
    return np.where(known, table[np.where(known, ids, 0)], -1)


def _plant_factors(policy: Policy, families: Mapping[str, int], services: Mapping[str, int]) -> Floats:
    factors = np.ones((len(policy.families), len(policy.services)))
    for row in policy.plant_factors:
        family, service = policy.family(row.family), policy.service(row.service)
        if family is not None and service is not None:  # the document was refused otherwise
            factors[families[family.code], services[service.name]] = row.factor
    return factors


def _family_table(policy: Policy) -> FamilyTable:
    rows = policy.families
    caps = [row.cap_months for row in policy.classes]
    floors = [row.floor_days for row in policy.classes]
    return FamilyTable(
        defect_rate_per_year=np.array([row.defect_rate_per_year for row in rows]),
        size_reference_mm=np.array([row.size_reference_mm for row in rows]),
        size_exponent=np.array([row.size_exponent for row in rows]),
        assumed_size_mm=np.array([row.assumed_size_mm for row in rows]),
        delay_rate_per_year=np.array([row.delay_rate_per_year for row in rows]),
        detection_probability=np.array([row.detection_probability for row in rows]),
        reference_hole_mm=np.array([row.reference_hole_mm for row in rows]),
        check_minutes=np.array([row.check_minutes for row in rows]),
        access_minutes=np.array([[row.access_minutes[name] for name in ACCESS] for row in rows]),
        settling_days=np.array([np.nan if row.settling_days is None else row.settling_days for row in rows]),
        loss_per_decade=np.array([_bolt(row, 0) for row in rows]),
        first_days=np.array([_bolt(row, 1) for row in rows]),
        hot_from_degc=np.array([_bolt(row, 2) for row in rows]),
        loss_growth_per_100_degc=np.array([_bolt(row, 3) for row in rows]),
        least_fraction=np.array([_bolt(row, 4) for row in rows]),
        cap_days=np.array([row.cap_months or caps for row in rows]).reshape(-1, CLASSES) * (DAYS_PER_YEAR / 12.0),
        floor_days=np.array([row.floor_days or floors for row in rows]).reshape(-1, CLASSES),
    )


def _bolt(row: Family, at: int) -> float:
    load = row.bolt_load
    if load is None:
        return np.nan
    return (
        load.loss_per_decade,
        load.first_days,
        load.hot_from_degc,
        load.loss_growth_per_100_degc,
        load.least_fraction,
    )[at]
