"""The policy document (TOML as shipped, JSON as stored) becomes a `Policy`, or is refused with every fault named by
its path."""

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources

from registry.errors import Issue
from registry.policy.agreement import disagreements
from registry.policy.check_tools import check_tools
from registry.policy.model import (
    ACCESS,
    CLASSES,
    EDITIONS,
    MAKE_UP_METHODS,
    OCCUPANCY,
    PHASES,
    RATINGS,
    AssumedPolicy,
    BoltLoad,
    ConsequenceClass,
    ConsequencePolicy,
    Family,
    Hazard,
    LeakNearbyPolicy,
    LikelihoodPolicy,
    MakeUpMethod,
    MakeUpPolicy,
    PlanningPolicy,
    PlantFactor,
    Policy,
    PolicyInvalid,
    PressureStep,
    ReleasePolicy,
    Service,
    SettlingPolicy,
    ThermalPolicy,
    VibrationPolicy,
    WalkingPolicy,
)
from registry.policy.reading import TableReader

_DAYS = 36_525.0  # no period of a policy is longer than a hundred years


def default_document() -> dict[str, object]:
    """Return the shipped policy as a document; it is as plain as JSON."""
    return tomllib.loads(resources.files("registry.policy").joinpath("default.toml").read_text("utf-8"))


def default_policy(version: int = 0) -> Policy:
    """Return the shipped policy."""
    return policy_from(default_document(), version)


def policy_from(document: Mapping[str, object], version: int) -> Policy:
    """Return the policy that a document says, or raise `PolicyInvalid` with an issue for every fault and its path."""
    issues: list[Issue] = []
    root = TableReader(document, "", issues)
    policy = _policy(root, version)
    root.finish()
    if not issues:
        issues.extend(disagreements(policy))
    if issues:
        faults = "1 fault" if len(issues) == 1 else f"{len(issues)} faults"
        raise PolicyInvalid(f"the policy document has {faults}", issues)
    return policy


def _policy(root: TableReader, version: int) -> Policy:
    access = _access(root.inner("access"))
    consequence, hazards = _consequence(root.inner("consequence"))
    return Policy(
        version=version,
        title=root.text("title"),
        vibration=_vibration(root.inner("vibration")),
        thermal=_thermal(root.inner("thermal")),
        make_up=_make_up(root.inner("make_up")),
        release=_release(root.inner("release")),
        consequence=consequence,
        classes=tuple(_class(row) for row in root.rows("class", least=CLASSES)),
        likelihood=_likelihood(root.inner("likelihood")),
        settling=_settling(root.inner("settling")),
        leak_nearby=_leak_nearby(root.inner("leak_nearby")),
        walking=_walking(root.inner("walking")),
        planning=_planning(root.optional_inner("planning") or _shipped("planning")),
        assumed=_assumed(root.inner("assumed")),
        families=tuple(_family(row, access) for row in root.rows("family")),
        services=tuple(_service(row, hazards) for row in root.rows("service")),
        plant_factors=tuple(_plant_factor(row) for row in root.rows("plant_factor", least=0)),
    )


def _vibration(table: TableReader) -> VibrationPolicy:
    found = VibrationPolicy(
        exponent=table.number("exponent", 0, 10),
        cap=table.number("cap", 1, 1000),
        delay_exponent=table.number("delay_exponent", 0, 5),
        line_distance_m=table.number("line_distance_m", 0, 1000),
        source=table.text("source"),
    )
    table.finish()
    return found


def _thermal(table: TableReader) -> ThermalPolicy:
    found = ThermalPolicy(
        edition=table.choice("edition", EDITIONS),
        range_exponent=table.number("range_exponent", 0, 20),
        factor_max=table.number("factor_max", 0.5, 1.2),
        factor_min=table.number("factor_min", 0, 0.5, open_low=True),
        reference_range_degc=table.number("reference_range_degc", 0, 1000, open_low=True),
        design_years=table.number("design_years", 0, 100, open_low=True),
        exponent=table.number("exponent", 0, 10),
        source=table.text("source"),
    )
    table.finish()
    return found


def _make_up(table: TableReader) -> MakeUpPolicy:
    found = MakeUpPolicy(
        accepted_and_witnessed=table.number("accepted_and_witnessed", 0, 100, open_low=True),
        accepted=table.number("accepted", 0, 100, open_low=True),
        no_record=table.number("no_record", 0, 100, open_low=True),
        not_accepted=table.number("not_accepted", 0, 100, open_low=True),
        source=table.text("source"),
    )
    table.finish()
    return found


def _release(table: TableReader) -> ReleasePolicy:
    found = ReleasePolicy(
        discharge_coefficient=table.number("discharge_coefficient", 0, 1, open_low=True),
        atmospheric_pressure_pa=table.number("atmospheric_pressure_pa", 50_000, 110_000),
        source=table.text("source"),
    )
    table.finish()
    return found


def _consequence(table: TableReader) -> tuple[ConsequencePolicy, tuple[str, ...]]:
    edges = table.numbers("release_band_edges_kg_s", 0, 1e6)
    hazards = tuple(_hazard(row, len(edges) + 1) for row in table.rows("hazard"))
    ignition, occupancy, hot = table.inner("auto_ignition"), table.inner("occupancy"), table.inner("hot")
    names = tuple(row.name for row in hazards)
    found = ConsequencePolicy(
        release_band_edges_kg_s=edges,
        hazards=hazards,
        auto_ignition_raised_by=ignition.whole("raised_by", 0, CLASSES - 1),
        auto_ignition_margin_degc=ignition.number("margin_degc", 0, 500),
        auto_ignition_hazard=ignition.choice("hazard", names or ("flammability",)),
        pressure_steps=tuple(_pressure_step(row) for row in table.rows("pressure_step", least=0)),
        occupancy_raised_by={name: occupancy.whole(name, 0, CLASSES - 1) for name in OCCUPANCY},
        hot_from_degc=hot.number("from_degc", -273.15, 2000),
        hot_least_class=hot.whole("least_class", 1, CLASSES),
        source=table.text("source"),
    )
    for part in (ignition, occupancy, hot, table):
        part.finish()
    return found, names


def _hazard(row: TableReader, bands: int) -> Hazard:
    found = Hazard(
        name=row.text("name"),
        label=row.text("label"),
        classes=row.matrix("classes", 1, CLASSES, rows=RATINGS, columns=bands),
        source=row.text("source"),
    )
    row.finish()
    return found


def _pressure_step(row: TableReader) -> PressureStep:
    found = PressureStep(
        pressure_barg=row.number("pressure_barg", -1.01325, 1e5), raised_by=row.whole("raised_by", 0, CLASSES - 1)
    )
    row.finish()
    return found


def _class(row: TableReader) -> ConsequenceClass:
    found = ConsequenceClass(
        number=row.whole("number", 1, CLASSES),
        label=row.text("label"),
        tolerable_leaks_per_year=row.number("tolerable_leaks_per_year", 0, 10, open_low=True),
        cap_months=row.number("cap_months", 0, 1200, open_low=True),
        floor_days=row.number("floor_days", 1, _DAYS),
        weight=row.number("weight", 0, 1e9, open_low=True),
        source=row.text("source"),
    )
    row.finish()
    return found


def _likelihood(table: TableReader) -> LikelihoodPolicy:
    found = LikelihoodPolicy(
        edges_per_year=table.numbers("edges_per_year", 0, 1000, length=CLASSES - 1), source=table.text("source")
    )
    table.finish()
    return found


def _settling(table: TableReader) -> SettlingPolicy:
    found = SettlingPolicy(expires_days=table.number("expires_days", 0, _DAYS), source=table.text("source"))
    table.finish()
    return found


def _leak_nearby(table: TableReader) -> LeakNearbyPolicy:
    found = LeakNearbyPolicy(
        enabled=table.flag("enabled"),
        distance_m=table.number("distance_m", 0, 1000),
        days=table.number("days", 0, _DAYS),
        source=table.text("source"),
    )
    table.finish()
    return found


def _walking(table: TableReader) -> WalkingPolicy:
    found = WalkingPolicy(
        walkway_m_s=table.number("walkway_m_s", 0.1, 5),
        clear_ground_m_s=table.number("clear_ground_m_s", 0.1, 5),
        stair_s_per_m=table.number("stair_s_per_m", 0, 60, open_low=True),
        ladder_s_per_m=table.number("ladder_s_per_m", 0, 60, open_low=True),
        source=table.text("source"),
    )
    table.finish()
    return found


def _planning(table: TableReader) -> PlanningPolicy:
    found = PlanningPolicy(
        minutes_per_weighted_leak=table.number("minutes_per_weighted_leak", 0, 1e7, open_low=True),
        visit_minutes=table.number("visit_minutes", 0, 10_080),
        scaffold_minutes=table.number("scaffold_minutes", 0, 100_000),
        scaffold_reach_m=table.number("scaffold_reach_m", 0.5, 1000),
        scaffold_band_m=table.number("scaffold_band_m", 0.5, 1000),
        early_share=table.number("early_share", 0, 0.5),
        early_most_weeks=table.number("early_most_weeks", 0, 520),
        outage_early_most_weeks=table.number("outage_early_most_weeks", 0, 520),
        late_share=table.number("late_share", 0, 0.5),
        late_most_weeks=table.number("late_most_weeks", 0, 520),
        overdue_grace_weeks=table.number("overdue_grace_weeks", 0, 520),
        permit_from_class=table.whole("permit_from_class", 1, CLASSES + 1),
        permit_lead_days=table.number("permit_lead_days", 0, 3650),
        scaffold_lead_days=table.number("scaffold_lead_days", 0, 3650),
        moved_minutes=table.number("moved_minutes", 0, 100_000),
        unplaced_weeks=table.number("unplaced_weeks", 0, 1000),
        unplaced_times_minutes=table.number("unplaced_times_minutes", 1, 1000),
        frozen_weeks=table.whole("frozen_weeks", 0, 520),
        planned_weeks=table.whole("planned_weeks", 0, 520),
        source=table.text("source"),
    )
    table.finish()
    return found


@cache
def _shipped_document() -> Mapping[str, object]:
    """The shipped policy, for what documents do not have that were published before it was thought of."""
    return default_document()


def _shipped(key: str) -> TableReader:
    """A table that a document does not have: the shipped one stands in."""
    return TableReader(_shipped_document(), "", []).inner(key)


def _assumed(table: TableReader) -> AssumedPolicy:
    found = AssumedPolicy(
        vibration_mm_s=table.number("vibration_mm_s", 0, 1000),
        vibration_hz=table.number("vibration_hz", 1, 300),
        thermal_cycles_per_year=table.number("thermal_cycles_per_year", 0, 1e6),
        thermal_range_degc=table.number("thermal_range_degc", 0, 2000),
        temperature_degc=table.number("temperature_degc", -273.15, 2000),
        access=table.choice("access", ACCESS),
        occupancy=table.choice("occupancy", OCCUPANCY),
        years_since_check=table.number("years_since_check", 0, 100),
        service=table.text("service"),
        source=table.text("source"),
    )
    table.finish()
    return found


def _access(table: TableReader) -> Mapping[str, float]:
    minutes = {name: table.number(name, 0, 1440) for name in ACCESS}
    table.text("source")
    table.finish()
    return minutes


def _family(row: TableReader, access: Mapping[str, float]) -> Family:
    own_access = row.optional_inner("access_minutes")
    bolt_load = row.optional_inner("bolt_load")
    found = Family(
        code=row.text("code"),
        label=row.text("label"),
        aliases=row.texts("aliases"),
        defect_rate_per_year=row.number("defect_rate_per_year", 0, 100, open_low=True),
        size_reference_mm=row.number("size_reference_mm", 0, 10_000, open_low=True),
        size_exponent=row.number("size_exponent", 0, 5),
        assumed_size_mm=row.number("assumed_size_mm", 0, 10_000, open_low=True),
        delay_rate_per_year=row.number("delay_rate_per_year", 0, 1000, open_low=True),
        detection_probability=row.number("detection_probability", 0, 1, open_low=True),
        reference_hole_mm=row.number("reference_hole_mm", 0, 1000, open_low=True),
        check_minutes=row.number("check_minutes", 0, 1440),
        access_minutes=access if own_access is None else {name: own_access.number(name, 0, 1440) for name in ACCESS},
        settling_days=row.optional_number("settling_days", 1, _DAYS),
        bolt_load=None if bolt_load is None else _bolt_load(bolt_load),
        cap_months=row.optional_numbers("cap_months", 0.1, 1200, length=CLASSES),
        floor_days=row.optional_numbers("floor_days", 1, _DAYS, length=CLASSES),
        make_up_methods=tuple(_make_up_method(method) for method in row.rows("make_up_method")),
        full_check=row.texts("full_check", least=1),
        cautions=row.texts("cautions", least=1),
        source=row.text("source"),
        check_tools=check_tools(row, _shipped_document()),
    )
    if own_access is not None:
        own_access.finish()
    row.finish()
    return found


def _bolt_load(table: TableReader) -> BoltLoad:
    found = BoltLoad(
        loss_per_decade=table.number("loss_per_decade", 0, 0.5, open_low=True),
        first_days=table.number("first_days", 0, 365, open_low=True),
        hot_from_degc=table.number("hot_from_degc", -273.15, 1000),
        loss_growth_per_100_degc=table.number("loss_growth_per_100_degc", 0, 10),
        least_fraction=table.number("least_fraction", 0.05, 0.99),
        source=table.text("source"),
    )
    table.finish()
    return found


def _make_up_method(row: TableReader) -> MakeUpMethod:
    found = MakeUpMethod(
        method=row.choice("method", MAKE_UP_METHODS),
        instruction=row.text("instruction"),
        source=row.text("source"),
    )
    row.finish()
    return found


def _service(row: TableReader, hazards: tuple[str, ...]) -> Service:
    ratings = row.inner("ratings")
    found = Service(
        name=row.text("name"),
        aliases=row.texts("aliases"),
        treated_as=row.text("treated_as"),
        phase=row.choice("phase", PHASES, default="by temperature"),
        assumed_temperature_degc=row.optional_number("assumed_temperature_degc", -273.15, 2000),
        ratings={name: ratings.whole(name, 0, RATINGS - 1) for name in hazards},
        note=row.optional_text("note"),
        source=row.text("source"),
    )
    ratings.finish()
    row.finish()
    return found


def _plant_factor(row: TableReader) -> PlantFactor:
    found = PlantFactor(
        family=row.text("family"),
        service=row.text("service"),
        factor=row.number("factor", 0.01, 100),
        source=row.text("source"),
    )
    row.finish()
    return found
