"""The account of one joint: every factor with what went in, where that came from, and the source of the rule."""

import math
from dataclasses import dataclass
from datetime import date
from typing import Any, Final, Literal

from registry.exposure.fluid import fluid_facts
from registry.exposure.thermal_sources import ASSUMED as CYCLES_ASSUMED
from registry.exposure.thermal_sources import JOINT_LIST as CYCLES_LISTED
from registry.exposure.vibration_sources import ASSUMED as VIBRATION_ASSUMED
from registry.exposure.vibration_sources import SOURCES as VIBRATION_SOURCES
from registry.exposure.vibration_sources import ZONE as VIBRATION_ZONE
from registry.intervals.due import CLOCK_STARTS
from registry.intervals.model import DUE_REASONS, LIMITS, JointColumns, ScoreInputs
from registry.intervals.tables import policy_tables
from registry.intervals.working import MAKE_UP_STATES, NO_RECORD, Working, exposure, working
from registry.policy.model import OCCUPANCY, Family, Policy, Service
from registry.risk.consequence import consequence_reasons
from registry.risk.model import Assumed, assumed_labels

Origin = Literal["measured", "record", "assumed", "learned"]

_VIBRATION_WORDS: Final = {
    "reading": "the joint's newest reading",
    "joint_list": "the joint list",
    "line": "a reading on its line",
    "zone": "a vibration source on the plot plan",
    "assumed": "the policy's assumption",
}
_CYCLE_WORDS: Final = (
    "counted from the joint's temperature history",
    "counted from its line's temperature history",
    "from the joint list",
    "the policy's assumption",
)
_STARTED_WORDS: Final = {
    "check": "its last satisfactory check",
    "make_up": "its last accepted make-up",
    "joint_list": "the make-up in the joint list",
    "assumed": "the policy's assumption, for nothing is recorded",
}
_DUE_WORDS: Final = {
    "interval": "the interval has run out then",
    "settling": "a settling check after the make-up comes first",
    "retightening": "the predicted bolt load asks for retightening before the interval has run out",
    "leak_nearby": "a leak nearby on its line calls for a look",
    "no_record": "nothing is recorded, so it is due at once",
    "recall": "a recall calls for a check",
}
_LIMIT_WORDS: Final = {
    "risk": "the tolerable leak frequency",
    "floor": "the policy's floor",
    "cap": "the policy's cap",
    "override": "an engineer's override",
}


@dataclass(frozen=True, slots=True)
class Factor:
    """One factor of the defect rate: its value, what went in, where that came from, and the source of the rule."""

    name: str
    value: float
    input: str
    origin: Origin
    source: str


@dataclass(frozen=True, slots=True)
class Why:
    """The account of one joint, from the same computation as its stored score."""

    tag: str
    policy_version: int
    as_of: date
    defect_rate_per_year: float
    delay_rate_per_year: float
    detection_probability: float
    factors: tuple[Factor, ...]
    consequence_class: int
    release_kg_s: float
    consequence_reasons: tuple[str, ...]
    tolerable_leaks_per_year: float
    interval_days: float
    limit: str
    beyond_checking: bool
    last_satisfactory_on: date
    due_on: date
    leak_rate_now_per_year: float
    likelihood_class: int
    risk_rank: int
    # What follows is said in words only: the JSON is kept stable.
    due_reason: str
    started_by: str
    vibration_action: bool
    assumed: tuple[str, ...]
    leak_nearby_on: date | None

    def as_json(self) -> dict[str, Any]:
        """Return the stable audit of one joint as plain JSON."""
        return {
            "tag": self.tag,
            "policy_version": self.policy_version,
            "as_of": self.as_of.isoformat(),
            "defect_rate_per_year": self.defect_rate_per_year,
            "delay_rate_per_year": self.delay_rate_per_year,
            "detection_probability": self.detection_probability,
            "factors": [
                {
                    "name": factor.name,
                    "value": factor.value,
                    "input": factor.input,
                    "origin": factor.origin,
                    "source": factor.source,
                }
                for factor in self.factors
            ],
            "consequence": {
                "class": self.consequence_class,
                "release_kg_s": self.release_kg_s,
                "reasons": list(self.consequence_reasons),
            },
            "tolerable_leaks_per_year": self.tolerable_leaks_per_year,
            "interval_days": self.interval_days,
            "limit": self.limit,
            "beyond_checking": self.beyond_checking,
            "last_satisfactory_on": self.last_satisfactory_on.isoformat(),
            "due_on": self.due_on.isoformat(),
            "leak_rate_now_per_year": self.leak_rate_now_per_year,
            "likelihood_class": self.likelihood_class,
            "risk_rank": self.risk_rank,
        }

    def as_text(self) -> str:
        """Return the same as a short account to read."""
        days = math.floor(self.interval_days)
        lines = [
            f"{self.tag}, as of {self.as_of}, policy version {self.policy_version}",
            "",
            f"Due on {self.due_on}: {_DUE_WORDS[self.due_reason]}.",
            f"Its clock started on {self.last_satisfactory_on}: {_STARTED_WORDS[self.started_by]}.",
            f"Interval {days} days, set by {_LIMIT_WORDS[self.limit]}.",
        ]
        if self.leak_nearby_on is not None:
            lines.append(f"A leak nearby on its line, seen on {self.leak_nearby_on}, is still to be answered.")
        if self.beyond_checking:
            lines.append("BEYOND CHECKING: not even the shortest interval keeps leaks to what is tolerable.")
        if self.vibration_action:
            lines.append("ACT ON THE VIBRATION: it is at or above the 'problem' line, whatever the interval.")
        lines += ["", f"Defects start at {self.defect_rate_per_year:.4g} a year:"]
        for factor in self.factors:
            lines.append(f"  {factor.value:10.4g}  {factor.name}: {factor.input} [{factor.origin}]")
            lines.append(f"              {factor.source}")
        lines += [
            f"A defect becomes a leak at {self.delay_rate_per_year:.4g} a year;"
            f" a check finds one with probability {self.detection_probability:g}.",
            "",
            f"Consequence class {self.consequence_class}, release {self.release_kg_s:.3g} kg/s:",
            *(f"  {reason}" for reason in self.consequence_reasons),
            f"Tolerable there: {self.tolerable_leaks_per_year:g} leaks a joint-year.",
            "",
            f"Expected leak rate now {self.leak_rate_now_per_year:.4g} a year:"
            f" likelihood class {self.likelihood_class}, rank {self.risk_rank} by risk.",
        ]
        if self.assumed:
            lines += ["", f"Assumed, because nobody gave it: {', '.join(self.assumed)}."]
        return "\n".join(lines)


def explanation(tag: str, inputs: ScoreInputs, policy: Policy, as_of: date, risk_rank: int) -> Why:
    """Return the account of one joint; `inputs` holds that joint alone, with the readings and leaks of its line.

    Raises ValueError where the inputs hold another number of joints, and what `scores` raises.
    """
    if len(inputs.joints) != 1:
        raise ValueError(f"an account is of one joint, not of {len(inputs.joints)}")
    tables = policy_tables(inputs, policy)
    found = working(inputs.joints, exposure(inputs, policy), inputs, tables, policy, as_of)
    family, service = policy.families[int(found.family[0])], policy.services[int(found.service[0])]
    leak_on = found.due.leak_on[0].astype("O")
    return Why(
        tag=tag,
        policy_version=policy.version,
        as_of=as_of,
        defect_rate_per_year=float(found.defect_rate_per_year[0]),
        delay_rate_per_year=float(found.delay_rate_per_year[0]),
        detection_probability=float(found.detection_probability[0]),
        factors=(
            _base(found, family),
            _vibration(found, policy),
            _thermal(found, inputs.joints, policy),
            _make_up(found, inputs.joints, policy),
            _plant(found, family, service, policy),
        ),
        consequence_class=int(found.consequence.number[0]),
        release_kg_s=float(found.outflow.release_kg_s[0]),
        consequence_reasons=_reasons(found, inputs, family, service, policy),
        tolerable_leaks_per_year=float(found.tolerable_leaks_per_year[0]),
        interval_days=float(found.interval.days[0]),
        limit=LIMITS[int(found.interval.limit[0])],
        beyond_checking=bool(found.interval.beyond_checking[0]),
        last_satisfactory_on=found.clock.last.astype("datetime64[D]")[0].astype("O"),
        due_on=found.due.on[0].astype("O"),
        leak_rate_now_per_year=float(found.leak_rate_now_per_year[0]),
        likelihood_class=int(found.likelihood_class[0]),
        risk_rank=risk_rank,
        due_reason=DUE_REASONS[int(found.due.reason[0])],
        started_by=CLOCK_STARTS[int(found.clock.started_by[0])],
        vibration_action=bool(found.vibration_action[0]),
        assumed=assumed_labels(int(found.assumed_inputs[0])),
        leak_nearby_on=leak_on,
    )


def _base(found: Working, family: Family) -> Factor:
    assumed = _is(found, Assumed.SIZE)
    size = f"{found.size_mm[0]:g} mm{' assumed' if assumed else ''}" if family.size_exponent > 0 else "any size"
    return Factor(
        "base rate per year",
        float(found.base_rate_per_year[0]),
        f"{family.label.lower()}, {size}",
        "assumed" if assumed else "record",
        family.source,
    )


def _vibration(found: Working, policy: Policy) -> Factor:
    vibration = found.exposure.vibration
    source = int(vibration.source[0])
    words = _VIBRATION_WORDS[VIBRATION_SOURCES[source]]
    distance = float(vibration.distance_m[0])
    away = "" if math.isnan(distance) else f", {distance:.1f} m away"
    no_frequency = _is(found, Assumed.FREQUENCY)
    text = (
        f"{vibration.velocity_mm_s[0]:.4g} mm/s at {vibration.frequency_hz[0]:g} Hz"
        f"{' (frequency assumed)' if no_frequency else ''}, {words}{away}"
    )
    if _is(found, Assumed.REFUSED_READING):
        text += "; a reading outside 1 to 300 Hz was set aside, for the lines are not stated there"
    origin: Origin = "measured"
    if source == VIBRATION_ASSUMED or no_frequency:
        origin = "assumed"
    elif source == VIBRATION_ZONE:
        origin = "record"
    return Factor("vibration", float(found.vibration_factor[0]), text, origin, policy.vibration.source)


def _thermal(found: Working, joints: JointColumns, policy: Policy) -> Factor:
    thermal, assumed = found.exposure.thermal, policy.assumed
    source = int(thermal.source[0])
    equivalent = (
        f"{thermal.equivalent_cycles_per_year[0]:.4g} cycles a year of {policy.thermal.reference_range_degc:g} degC"
    )
    origin: Origin = "measured"
    if source < CYCLES_LISTED:
        text = f"{equivalent}, {_CYCLE_WORDS[source]}"
    else:
        cycles, span = bool(thermal.cycles_assumed[0]), bool(thermal.range_assumed[0])
        count = assumed.thermal_cycles_per_year if cycles else float(joints.thermal_cycles_per_year[0])
        degrees = assumed.thermal_range_degc if span else float(joints.thermal_range_degc[0])
        text = (
            f"{count:g} cycles a year{' (assumed)' if cycles else ''} of {degrees:g} degC{' (assumed)' if span else ''}"
            f" = {equivalent}, {_CYCLE_WORDS[source]}"
        )
        origin = "assumed" if source == CYCLES_ASSUMED or cycles or span else "record"
    text += f"; over {policy.thermal.design_years:g} years, edition {policy.thermal.edition}"
    return Factor("thermal cycles", float(found.thermal_factor[0]), text, origin, policy.thermal.source)


def _make_up(found: Working, joints: JointColumns, policy: Policy) -> Factor:
    state = int(found.make_up_state[0])
    text = MAKE_UP_STATES[state].replace("_", " ")
    if state != NO_RECORD:
        text += f", {joints.last_make_up_on[0]}"
    origin: Origin = "assumed" if state == NO_RECORD else "record"
    return Factor("make-up", float(found.make_up_factor[0]), text, origin, policy.make_up.source)


def _plant(found: Working, family: Family, service: Service, policy: Policy) -> Factor:
    for row in policy.plant_factors:
        if policy.family(row.family) is family and policy.service(row.service) is service:
            text = f"{family.label.lower()} in {service.name}"
            return Factor("plant history", float(found.plant_factor[0]), text, "learned", row.source)
    return Factor(
        "plant history",
        float(found.plant_factor[0]),
        "the plant's own history has moved nothing yet",
        "assumed",
        "Own method: 1 until rates learned from the plant's history are published.",
    )


def _reasons(found: Working, inputs: ScoreInputs, family: Family, service: Service, policy: Policy) -> tuple[str, ...]:
    fluid = fluid_facts()[service.treated_as]
    pressure, temperature = float(inputs.joints.pressure_barg[0]), float(found.temperature_degc[0])
    name = inputs.service_names.get(int(inputs.joints.service_id[0]), "?")
    first = f"{name}, taken as {fluid.name}, through a hole of {family.reference_hole_mm:g} mm at {pressure:g} bar g"
    first += f" and {temperature:g} degC{' (assumed)' if _is(found, Assumed.TEMPERATURE) else ''}"
    reasons = [first]
    if _is(found, Assumed.SERVICE):
        reasons.append(f"the policy has no service '{name}': taken as {service.name}")
    reasons += consequence_reasons(
        found.consequence,
        service,
        float(found.outflow.release_kg_s[0]),
        bool(found.outflow.liquid[0]),
        pressure,
        temperature,
        fluid.auto_ignition_degc,
        OCCUPANCY[int(found.occupancy[0])],
        policy.consequence,
    )
    if _is(found, Assumed.OCCUPANCY):
        reasons.append(f"people in the area: {OCCUPANCY[int(found.occupancy[0])]} (assumed)")
    return tuple(reasons)


def _is(found: Working, flag: Assumed) -> bool:
    return bool(int(found.assumed_inputs[0]) & flag)
