"""The policy of a site as typed, frozen tables.

Everything that the model takes as given stands here: rates, exponents, tolerances, assumed values, procedures. A joint
family or a service is a row; a plant adds one by adding a row. `source` says where a table's numbers come from.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final, Literal

from registry.errors import Invalid

ACCESS: Final = ("grade", "platform", "ladder", "scaffold")
"""How a joint is reached; a joint's `access` code is 1 + the position here, 0 where it is not given."""

OCCUPANCY: Final = ("rare", "occasional", "frequent", "continuous")
"""How often people are in an area, from least to most."""

MAKE_UP_METHODS: Final = ("turns", "torque", "tension")
EDITIONS: Final = ("2020", "2022")
"""Editions of ASME B31.3 whose stress-range factor may be asked for: '2020' stands for 2020 and before."""

CHECK_REASONS: Final = ("interval", "settling", "retightening", "leak_nearby", "no_record", "recall")
"""What brings a crew to a joint, as far as its check can ask for other tools (registry/intervals/model.py)."""

EVERY_CHECK: Final = "every"

CLASSES: Final = 5
RATINGS: Final = 5  # hazard ratings run from 0 to 4

Phase = Literal["by temperature", "gas", "liquid"]
PHASES: Final[tuple[Phase, ...]] = ("by temperature", "gas", "liquid")


class PolicyInvalid(Invalid):
    """The policy document was refused"""

    slug = "policy-invalid"


@dataclass(frozen=True, slots=True)
class VibrationPolicy:
    """How velocity becomes a factor: clip((v / v_concern(f)) ** exponent, 1, cap)."""

    exponent: float
    cap: float
    delay_exponent: float
    """q in: delay rate = base delay rate x vibration factor ** q."""
    line_distance_m: float
    """A reading on the joint's own line counts up to this distance."""
    source: str


@dataclass(frozen=True, slots=True)
class ThermalPolicy:
    """How temperature cycles become a factor: (1 / f_N) ** exponent, N counted over the design years."""

    edition: str
    range_exponent: float
    """m in: equivalent cycles = sum of (range / reference range) ** m."""
    factor_max: float
    factor_min: float
    reference_range_degc: float
    design_years: float
    exponent: float
    source: str


@dataclass(frozen=True, slots=True)
class MakeUpPolicy:
    """Factor on the defect rate by what is known of the last make-up."""

    accepted_and_witnessed: float
    accepted: float
    no_record: float
    not_accepted: float
    source: str


@dataclass(frozen=True, slots=True)
class ReleasePolicy:
    """Constants of the release rate through a family's reference hole."""

    discharge_coefficient: float
    atmospheric_pressure_pa: float
    source: str


@dataclass(frozen=True, slots=True)
class Hazard:
    """One kind of hazard: the consequence class by rating (row, 0 to 4) and release band (column)."""

    name: str
    label: str
    classes: tuple[tuple[int, ...], ...]
    source: str


@dataclass(frozen=True, slots=True)
class PressureStep:
    """From this gauge pressure on the class is raised by so much."""

    pressure_barg: float
    raised_by: int


@dataclass(frozen=True, slots=True)
class ConsequencePolicy:
    """How hazard, release rate and surroundings become a class from 1 to 5."""

    release_band_edges_kg_s: tuple[float, ...]
    hazards: tuple[Hazard, ...]
    auto_ignition_raised_by: int
    auto_ignition_margin_degc: float
    auto_ignition_hazard: str
    """The hazard whose rating must be at least 1 for auto-ignition to count."""
    pressure_steps: tuple[PressureStep, ...]
    occupancy_raised_by: Mapping[str, int]
    hot_from_degc: float
    hot_least_class: int
    source: str


@dataclass(frozen=True, slots=True)
class ConsequenceClass:
    """What is tolerated and how often is looked in one consequence class."""

    number: int
    label: str
    tolerable_leaks_per_year: float
    cap_months: float
    floor_days: float
    weight: float
    source: str


@dataclass(frozen=True, slots=True)
class LikelihoodPolicy:
    """Edges, in expected leaks per joint-year, between the likelihood classes 1 to 5."""

    edges_per_year: tuple[float, ...]
    source: str


@dataclass(frozen=True, slots=True)
class SettlingPolicy:
    """A settling check that was never recorded is asked for only so long after the make-up."""

    expires_days: float
    source: str


@dataclass(frozen=True, slots=True)
class LeakNearbyPolicy:
    """A leak on the same line calls its neighbours in."""

    enabled: bool
    distance_m: float
    days: float
    source: str


@dataclass(frozen=True, slots=True)
class WalkingPolicy:
    """How fast a crew walks with its tools; stairs and ladders go by the metre of rise, up and down alike."""

    walkway_m_s: float
    clear_ground_m_s: float
    stair_s_per_m: float
    ladder_s_per_m: float
    source: str


@dataclass(frozen=True, slots=True)
class PlanningPolicy:
    """What the planner weighs, in crew minutes, and how far a check may be from its due date.

    A share is of the joint's interval. Weeks of a horizon count from the first of the plan.
    """

    minutes_per_weighted_leak: float
    """What one expected leak, times the weight of its class, is worth."""
    visit_minutes: float
    """Going to an area in a week at all."""
    scaffold_minutes: float
    """Putting a scaffold up."""
    scaffold_reach_m: float
    scaffold_band_m: float
    """Joints in one square of that side and one band of elevation share a scaffold."""
    early_share: float
    early_most_weeks: float
    outage_early_most_weeks: float
    """What needs an outage may be checked so long before its due date: there may be no other."""
    late_share: float
    late_most_weeks: float
    overdue_grace_weeks: float
    """What is overdue may be planned so far ahead, whatever its interval."""
    permit_from_class: int
    permit_lead_days: float
    scaffold_lead_days: float
    moved_minutes: float
    """Taking a check out of the week that it was planned for."""
    unplaced_weeks: float
    """Leaving a check out counts as being so late after the end of the plan …"""
    unplaced_times_minutes: float
    """… and as so many times its own minutes, and as a visit of its own."""
    frozen_weeks: int
    planned_weeks: int
    source: str


@dataclass(frozen=True, slots=True)
class AssumedPolicy:
    """What stands in for an input that nobody gave; every use is marked 'assumed'."""

    vibration_mm_s: float
    vibration_hz: float
    thermal_cycles_per_year: float
    thermal_range_degc: float
    temperature_degc: float
    access: str
    occupancy: str
    years_since_check: float
    service: str
    """The service whose row is used for a service that has none."""
    source: str


@dataclass(frozen=True, slots=True)
class BoltLoad:
    """Relaxation of bolt load with the logarithm of time (own method); see registry/intervals/bolt_load.py."""

    loss_per_decade: float
    first_days: float
    hot_from_degc: float
    loss_growth_per_100_degc: float
    least_fraction: float
    source: str


@dataclass(frozen=True, slots=True)
class MakeUpMethod:
    """One way to make a joint of a family up."""

    method: str
    instruction: str
    source: str


@dataclass(frozen=True, slots=True)
class Family:
    """A joint family: its rates, its check, its make-up."""

    code: str
    label: str
    aliases: tuple[str, ...]
    defect_rate_per_year: float
    size_reference_mm: float
    size_exponent: float
    """The defect rate grows as (size / size_reference_mm) ** size_exponent; 0 where size does not matter."""
    assumed_size_mm: float
    delay_rate_per_year: float
    detection_probability: float
    reference_hole_mm: float
    check_minutes: float
    access_minutes: Mapping[str, float]
    settling_days: float | None
    bolt_load: BoltLoad | None
    cap_months: tuple[float, ...] | None
    floor_days: tuple[float, ...] | None
    make_up_methods: tuple[MakeUpMethod, ...]
    full_check: tuple[str, ...]
    cautions: tuple[str, ...]
    source: str
    check_tools: Mapping[str, tuple[str, ...]] = field(default_factory=dict[str, tuple[str, ...]])
    """Kinds of tool that a check takes: under 'every' those of every check, under a reason what that takes more."""

    def tools_for(self, reason: str) -> tuple[str, ...]:
        """The kinds of tool that a check takes which is due for this reason."""
        tools = (*self.check_tools.get(EVERY_CHECK, ()), *self.check_tools.get(reason, ()))
        return tuple(dict.fromkeys(tools))


@dataclass(frozen=True, slots=True)
class Service:
    """A service by the plant's name for it: the fluid whose physics it takes, and its hazard ratings."""

    name: str
    aliases: tuple[str, ...]
    treated_as: str
    phase: Phase
    assumed_temperature_degc: float | None
    ratings: Mapping[str, int]
    note: str
    source: str


@dataclass(frozen=True, slots=True)
class PlantFactor:
    """What the plant's own history has taught about a family in a service: a factor on the defect rate."""

    family: str
    service: str
    factor: float
    source: str


@dataclass(frozen=True, slots=True)
class Policy:
    """One version of a site's policy."""

    version: int
    title: str
    vibration: VibrationPolicy
    thermal: ThermalPolicy
    make_up: MakeUpPolicy
    release: ReleasePolicy
    consequence: ConsequencePolicy
    classes: tuple[ConsequenceClass, ...]
    likelihood: LikelihoodPolicy
    settling: SettlingPolicy
    leak_nearby: LeakNearbyPolicy
    walking: WalkingPolicy
    planning: PlanningPolicy
    assumed: AssumedPolicy
    families: tuple[Family, ...]
    services: tuple[Service, ...]
    plant_factors: tuple[PlantFactor, ...]
    _family_by_name: Mapping[str, Family] = field(init=False, repr=False, compare=False)
    _service_by_name: Mapping[str, Service] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        families = {plain_name(name): row for row in self.families for name in (row.code, row.label, *row.aliases)}
        services = {plain_name(name): row for row in self.services for name in (row.name, *row.aliases)}
        object.__setattr__(self, "_family_by_name", MappingProxyType(families))
        object.__setattr__(self, "_service_by_name", MappingProxyType(services))

    def family(self, name: str) -> Family | None:
        """Return the family of this code, label or alias, whatever its case and spacing; None where there is none."""
        return self._family_by_name.get(plain_name(name))

    def service(self, name: str) -> Service | None:
        """Return the service of this name or alias, whatever its case and spacing; None where there is none."""
        return self._service_by_name.get(plain_name(name))

    def hazard(self, name: str) -> Hazard | None:
        """Return the hazard of this name; None where there is none."""
        return next((row for row in self.consequence.hazards if row.name == name), None)


def plain_name(name: str) -> str:
    """Return a name as it is compared: case, blanks, hyphens and underscores do not matter.

    >>> plain_name("  Cooling  WATER ") == plain_name("cooling-water")
    True
    """
    return " ".join(name.casefold().replace("_", " ").replace("-", " ").split())
