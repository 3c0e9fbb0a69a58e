"""How bad a leak would be: a class from 1 to 5, and the reasons in words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from registry.policy.model import CLASSES, OCCUPANCY, ConsequencePolicy, Service

Floats = NDArray[np.float64]
Small = NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class HazardTable:
    """The policy's hazard tables worked out for services: one row a service, one column a release band."""

    class_by_band: Small
    ignites: NDArray[np.bool_]
    """Whether auto-ignition counts for the service at all."""


@dataclass(frozen=True, slots=True)
class Consequence:
    """The class of each joint and what made it, each part as it was added."""

    number: Small
    band: Small
    by_hazard: Small
    raised_by_ignition: Small
    raised_by_pressure: Small
    raised_by_occupancy: Small
    raised_to_hot: NDArray[np.bool_]


def hazard_table(services: Sequence[Service], policy: ConsequencePolicy) -> HazardTable:
    """Return the tables of the policy for services in a given order: the worst of all hazards by release band."""
    bands = len(policy.release_band_edges_kg_s) + 1
    classes = np.ones((len(services), bands), np.int16)
    for hazard in policy.hazards:
        ratings = [service.ratings.get(hazard.name, 0) for service in services]
        classes = np.maximum(classes, np.array(hazard.classes, np.int16)[ratings].reshape(-1, bands))
    ignites = [service.ratings.get(policy.auto_ignition_hazard, 0) > 0 for service in services]
    return HazardTable(classes, np.array(ignites, np.bool_))


def consequence_class(
    service: NDArray[np.integer],
    table: HazardTable,
    release_kg_s: Floats,
    pressure_barg: Floats,
    temperature_degc: Floats,
    auto_ignition_degc: Floats,
    occupancy: NDArray[np.integer],
    policy: ConsequencePolicy,
) -> Consequence:
    """Consequence class of a leak by fluid hazard, release rate, temperature, pressure and surroundings.

    class = min(5, max(worst hazard(rating, release band) + ignition + pressure + occupancy, least class if hot))

    Parameters
    ----------
    service : ndarray of int, shape (n,) [-]
        Row of the hazard table.
    table : HazardTable
    release_kg_s : ndarray, shape (n,) [kg/s]
    pressure_barg : ndarray, shape (n,) [bar gauge]
    temperature_degc : ndarray, shape (n,) [degC]
    auto_ignition_degc : ndarray, shape (n,) [degC]
        NaN where the fluid has none.
    occupancy : ndarray of int, shape (n,) [-]
        Position in OCCUPANCY.
    policy : ConsequencePolicy

    Returns
    -------
    Consequence, arrays of shape (n,) [-]
        The class never falls when release, pressure, temperature, a rating or occupancy rises; the policy is refused
        where its tables would let it.

    References
    ----------
    Own method: a table of ratings against decades of release rate with steps for what makes it worse, engineering
    judgement.

    Examples
    --------
    >>> from registry.policy.document import default_policy
    >>> policy = default_policy()
    >>> table = hazard_table(policy.services, policy.consequence)
    >>> cold, none = np.array([20.0]), np.array([np.nan])
    >>> found = consequence_class(np.array([0]), table, np.array([3.3e-4]), np.array([10.0]), cold, none, np.array([1]),
    ...     policy.consequence)
    >>> int(found.number[0])
    3
    """
    band = np.searchsorted(policy.release_band_edges_kg_s, release_kg_s, "right").astype(np.int16)
    by_hazard = table.class_by_band[service, band]
    hot_enough = temperature_degc >= auto_ignition_degc - policy.auto_ignition_margin_degc
    ignition = (table.ignites[service] & hot_enough) * np.int16(policy.auto_ignition_raised_by)
    steps = np.array([0, *(step.raised_by for step in policy.pressure_steps)], np.int16)
    pressure = steps[np.searchsorted([step.pressure_barg for step in policy.pressure_steps], pressure_barg, "right")]
    people = np.array([policy.occupancy_raised_by[name] for name in OCCUPANCY], np.int16)[occupancy]
    # A joint under vacuum lets nothing out, so its surroundings make nothing worse.
    added = np.where(release_kg_s > 0, ignition + pressure + people, 0)
    worst = np.minimum(by_hazard + added, CLASSES).astype(np.int16)
    hot = (temperature_degc >= policy.hot_from_degc) & (release_kg_s > 0) & (worst < policy.hot_least_class)
    number = np.where(hot, np.int16(policy.hot_least_class), worst).astype(np.int16)
    return Consequence(number, band, by_hazard, ignition, pressure, people, hot)


def consequence_reasons(
    found: Consequence,
    service: Service,
    release_kg_s: float,
    liquid: bool,
    pressure_barg: float,
    temperature_degc: float,
    auto_ignition_degc: float,
    occupancy: str,
    policy: ConsequencePolicy,
) -> tuple[str, ...]:
    """Return in words what made the class of one joint; `found` holds that joint alone."""
    band = int(found.band[0])
    reasons = [_release_reason(release_kg_s, liquid, policy.release_band_edges_kg_s, band)]
    by_hazard = int(found.by_hazard[0])
    reasons += [
        f"{hazard.label.lower()}, rating {service.ratings.get(hazard.name, 0)}: class {by_hazard}"
        for hazard in policy.hazards
        if hazard.classes[service.ratings.get(hazard.name, 0)][band] == by_hazard and by_hazard > 1
    ]
    if by_hazard == 1:
        reasons.append("no hazard above class 1 at this release")
    if release_kg_s > 0:
        steps: Mapping[str, int] = {
            f"{temperature_degc:g} degC is at or above auto-ignition ({auto_ignition_degc:g} degC)": int(
                found.raised_by_ignition[0]
            ),
            f"{pressure_barg:g} bar g is a high pressure": int(found.raised_by_pressure[0]),
            f"people in the area: {occupancy}": int(found.raised_by_occupancy[0]),
        }
        reasons += [f"{text}: +{raised}" for text, raised in steps.items() if raised]
    if found.raised_to_hot[0]:
        reasons.append(f"{temperature_degc:g} degC burns: at least class {policy.hot_least_class}")
    return tuple(reasons)


def _release_reason(release_kg_s: float, liquid: bool, edges: Sequence[float], band: int) -> str:
    if release_kg_s <= 0:
        return "no release: the pressure is not above the atmosphere's"
    state = "liquid" if liquid else "gas"
    low = f"{edges[band - 1]:g}" if band > 0 else None
    high = f"{edges[band]:g}" if band < len(edges) else None
    between = f"below {high}" if low is None else f"{low} or more" if high is None else f"{low} to {high}"
    return f"{release_kg_s:.3g} kg/s as {state} ({between} kg/s)"
