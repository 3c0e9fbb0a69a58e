"""What the tables of a policy owe each other."""

from collections.abc import Iterable
from itertools import pairwise

from registry.errors import Issue
from registry.policy.model import CLASSES, OCCUPANCY, Policy, plain_name


def disagreements(policy: Policy) -> Iterable[Issue]:
    """Yield the faults between the tables; the orders keep a worse joint from a longer interval."""
    consequence = policy.consequence
    edges = consequence.release_band_edges_kg_s
    yield from _order("consequence.release_band_edges_kg_s", edges, rising=True, strict=True)
    for at, hazard in enumerate(consequence.hazards):
        path = f"consequence.hazard[{at}].classes"
        for rating, row in enumerate(hazard.classes):
            yield from _order(f"{path}[{rating}]", row, rising=True)
        for band in range(len(edges) + 1):
            yield from _order(f"{path}[..][{band}]", [row[band] for row in hazard.classes], rising=True)
    steps = consequence.pressure_steps
    yield from _order("consequence.pressure_step", [step.pressure_barg for step in steps], rising=True, strict=True)
    yield from _order("consequence.pressure_step", [step.raised_by for step in steps], rising=True)
    people = [consequence.occupancy_raised_by[name] for name in OCCUPANCY]
    yield from _order("consequence.occupancy", people, rising=True)
    if [row.number for row in policy.classes] != list(range(1, CLASSES + 1)):
        yield Issue(None, "class", None, f"must be {CLASSES} rows, numbered from 1 upwards")
    yield from _order("class.tolerable_leaks_per_year", [row.tolerable_leaks_per_year for row in policy.classes])
    yield from _order("class.weight", [row.weight for row in policy.classes], rising=True)
    yield from _order("likelihood.edges_per_year", policy.likelihood.edges_per_year, rising=True, strict=True)
    yield from _bounds("class", [row.floor_days for row in policy.classes], [row.cap_months for row in policy.classes])
    for at, family in enumerate(policy.families):
        floors = family.floor_days or [row.floor_days for row in policy.classes]
        caps = family.cap_months or [row.cap_months for row in policy.classes]
        if family.floor_days or family.cap_months:
            yield from _bounds(f"family[{at}]", floors, caps)
    if policy.planning.planned_weeks < policy.planning.frozen_weeks:
        yield Issue(None, "planning.planned_weeks", f"{policy.planning.planned_weeks}", "is less than the frozen weeks")
    yield from _clashes("family", [(row.code, (row.code, row.label, *row.aliases)) for row in policy.families])
    yield from _clashes("service", [(row.name, (row.name, *row.aliases)) for row in policy.services])
    if policy.service(policy.assumed.service) is None:
        yield Issue(None, "assumed.service", policy.assumed.service, "is not a service of this policy")
    for at, row in enumerate(policy.plant_factors):
        if policy.family(row.family) is None:
            yield Issue(None, f"plant_factor[{at}].family", row.family, "is not a family of this policy")
        if policy.service(row.service) is None:
            yield Issue(None, f"plant_factor[{at}].service", row.service, "is not a service of this policy")


def _bounds(path: str, floors: Iterable[float], caps: Iterable[float]) -> Iterable[Issue]:
    floors, caps = list(floors), list(caps)
    yield from _order(f"{path}.floor_days", floors)
    yield from _order(f"{path}.cap_months", caps)
    for number, (floor, cap) in enumerate(zip(floors, caps, strict=True), start=1):
        if floor > cap * 365.25 / 12:
            yield Issue(None, f"{path}.floor_days", f"{floor:g}", f"is longer than the cap of class {number}")


def _order(path: str, values: Iterable[float], *, rising: bool = False, strict: bool = False) -> Iterable[Issue]:
    sign = 1 if rising else -1
    values = list(values)
    for before, after in pairwise(values):
        step = sign * (after - before)
        if step < 0 or (strict and step == 0):
            word = "rise" if strict else ("not fall" if rising else "not rise")
            yield Issue(None, path, f"{before:g}, {after:g}", f"must {word} from one to the next")
            return


def _clashes(path: str, rows: Iterable[tuple[str, tuple[str, ...]]]) -> Iterable[Issue]:
    owner: dict[str, int] = {}
    for at, (_, names) in enumerate(rows):
        for name in names:
            before = owner.setdefault(plain_name(name), at)
            if before != at:
                yield Issue(None, f"{path}[{at}]", name, f"is already a name of {path}[{before}]")
