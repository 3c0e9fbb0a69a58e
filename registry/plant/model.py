"""The plot plan: what stands, runs and shakes where, in metres on the plant grid."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from registry.errors import Invalid, NotFound
from registry.plant.sheet_grid import SheetGrid, sheet_grid

KINDS = ("area", "equipment", "walkway", "stair", "obstacle", "vibration_source", "gate")
OCCUPANCIES = ("rare", "occasional", "frequent", "continuous")
CLIMBS = ("stair", "ladder")

# Own method: a walkway without a stated width is one person's; a gate without one lets two pass.
WALKWAY_WIDTH_M = 1.0
GATE_WIDTH_M = 2.0

Floats = npt.NDArray[np.float64]


class PlanRefused(Invalid):
    """The plot plan was refused"""

    slug = "plan-refused"


class PlanMissing(NotFound):
    """This site has no plot plan yet"""

    slug = "plan-missing"


class AreaUnknown(NotFound):
    """The plot plan has no such area"""

    slug = "area-unknown"


@dataclass(frozen=True, slots=True)
class PlanFeature:
    """One feature as read and checked, whatever file it came from.

    Outlines are flat and carry their elevation in `properties`; lines and points carry it as their third coordinate.
    """

    kind: str
    name: str | None
    geometry: BaseGeometry
    properties: Mapping[str, Any] = field(default_factory=dict[str, Any])


@dataclass(frozen=True, slots=True)
class Area:
    """A named part of the plant with its outline and how often people are in it."""

    area_id: int
    name: str
    occupancy: str
    outline: Polygon | MultiPolygon


@dataclass(frozen=True, slots=True)
class Equipment:
    """A vessel, machine or package; drawn, but no hindrance to walking, for joints stand on it."""

    name: str | None
    shape: BaseGeometry
    elevation_m: float


@dataclass(frozen=True, slots=True)
class Walkway:
    """Where people walk: a centre line with elevation (a ramp's rises), and its width."""

    name: str | None
    line: LineString
    width_m: float


@dataclass(frozen=True, slots=True)
class Stair:
    """A stair or ladder from its foot to its head."""

    name: str | None
    line: LineString
    climb: str


@dataclass(frozen=True, slots=True)
class Obstacle:
    """What nobody can walk through, at all elevations or from `base_m` up to `top_m`."""

    name: str | None
    shape: Polygon | MultiPolygon | LineString
    base_m: float
    top_m: float


@dataclass(frozen=True, slots=True)
class VibrationSource:
    """A machine that shakes its surroundings: velocity at the source, how far it is felt, and how it decays."""

    name: str | None
    east_m: float
    north_m: float
    elevation_m: float
    velocity_mm_s: float
    frequency_hz: float
    radius_m: float
    decay: float


@dataclass(frozen=True, slots=True)
class Gate:
    """A way in, where a walk starts and ends."""

    name: str
    east_m: float
    north_m: float
    elevation_m: float
    width_m: float


@dataclass(frozen=True)
class PlotPlan:
    """A site's plot plan as last loaded."""

    areas: tuple[Area, ...] = ()
    equipment: tuple[Equipment, ...] = ()
    walkways: tuple[Walkway, ...] = ()
    stairs: tuple[Stair, ...] = ()
    obstacles: tuple[Obstacle, ...] = ()
    vibration_sources: tuple[VibrationSource, ...] = ()
    gates: tuple[Gate, ...] = ()

    @cached_property
    def bounds(self) -> tuple[float, float, float, float] | None:
        """West, south, east and north edge in metres, or None for an empty plan."""
        shapes: list[BaseGeometry] = [
            *(area.outline for area in self.areas),
            *(item.shape for item in self.equipment),
            *(walkway.line for walkway in self.walkways),
            *(stair.line for stair in self.stairs),
            *(obstacle.shape for obstacle in self.obstacles),
            *(Point(gate.east_m, gate.north_m) for gate in self.gates),
        ]
        if not shapes:
            return None
        edges = np.array([shape.bounds for shape in shapes])
        west, south, east, north = (float(edge) for edge in (*edges[:, :2].min(axis=0), *edges[:, 2:].max(axis=0)))
        return west, south, east, north

    @cached_property
    def sheet(self) -> SheetGrid | None:
        """The sheet grid round the plan, or None for an empty plan."""
        return None if self.bounds is None else sheet_grid(*self.bounds)

    def grid_reference(self, east_m: float, north_m: float) -> str:
        """The field of the sheet grid that a place lies in, such as 'C4'; 'off plan' outside it."""
        return "off plan" if self.sheet is None else self.sheet.reference(east_m, north_m)

    def area_of(self, east_m: Floats, north_m: Floats) -> npt.NDArray[np.int32]:
        """The `area_id` that each place lies in (its edge counts), 0 where none.

        Where outlines overlap the smaller area has it: a building inside a unit is named before the unit.
        """
        east, north = np.asarray(east_m, dtype=np.float64), np.asarray(north_m, dtype=np.float64)
        found = np.zeros(east.shape, dtype=np.int32)
        for area in sorted(self.areas, key=lambda area: (-area.outline.area, area.name)):
            west, south, far_east, far_north = area.outline.bounds
            near = np.flatnonzero((east >= west) & (east <= far_east) & (north >= south) & (north <= far_north))
            if len(near):
                shapely.prepare(area.outline)
                found[near[shapely.intersects_xy(area.outline, east[near], north[near])]] = area.area_id
        return found

    def with_occupancies(self, occupancies: Mapping[int, str]) -> "PlotPlan":
        """The plan with the occupancy of its areas by their number."""
        areas = tuple(replace(area, occupancy=occupancies.get(area.area_id, area.occupancy)) for area in self.areas)
        return replace(self, areas=areas)

    def area_named(self, name: str) -> Area | None:
        """The area of that name, letter case and spacing aside.

        Drawings number their areas ('10 Electrolysis hall') and lists often do not, so a name without the number, or
        the number alone, is understood where it fits one area only.
        """
        sought = plain_name(name)
        exact = [area for area in self.areas if plain_name(area.name) == sought]
        if exact:
            return exact[0]
        loose = [area for area in self.areas if sought and sought in _parts(area.name)]
        return loose[0] if len(loose) == 1 else None


def plot_plan(features: Sequence[PlanFeature], area_ids: Mapping[str, int]) -> PlotPlan:
    """Checked features as a PlotPlan; `area_ids` gives the id of each area by name."""
    parts: dict[str, list[Any]] = {kind: [] for kind in KINDS}
    for feature in features:
        parts[feature.kind].append(_PARTS[feature.kind](feature, area_ids))
    return PlotPlan(
        areas=tuple(parts["area"]),
        equipment=tuple(parts["equipment"]),
        walkways=tuple(parts["walkway"]),
        stairs=tuple(parts["stair"]),
        obstacles=tuple(parts["obstacle"]),
        vibration_sources=tuple(parts["vibration_source"]),
        gates=tuple(parts["gate"]),
    )


def _area(feature: PlanFeature, area_ids: Mapping[str, int]) -> Area:
    assert isinstance(feature.geometry, Polygon | MultiPolygon)
    name = feature.name or ""
    return Area(area_ids[name], name, str(feature.properties.get("occupancy", "occasional")), feature.geometry)


def _equipment(feature: PlanFeature, _: Mapping[str, int]) -> Equipment:
    return Equipment(feature.name, feature.geometry, float(feature.properties.get("elevation_m", 0.0)))


def _walkway(feature: PlanFeature, _: Mapping[str, int]) -> Walkway:
    assert isinstance(feature.geometry, LineString)
    return Walkway(feature.name, feature.geometry, float(feature.properties.get("width_m", WALKWAY_WIDTH_M)))


def _stair(feature: PlanFeature, _: Mapping[str, int]) -> Stair:
    assert isinstance(feature.geometry, LineString)
    return Stair(feature.name, feature.geometry, str(feature.properties.get("climb", "stair")))


def _obstacle(feature: PlanFeature, _: Mapping[str, int]) -> Obstacle:
    assert isinstance(feature.geometry, Polygon | MultiPolygon | LineString)
    base = feature.properties.get("elevation_m", -np.inf)
    return Obstacle(
        feature.name, feature.geometry, float(base), float(feature.properties.get("top_elevation_m", np.inf))
    )


def _vibration_source(feature: PlanFeature, _: Mapping[str, int]) -> VibrationSource:
    assert isinstance(feature.geometry, Point)
    given = feature.properties
    return VibrationSource(
        feature.name,
        feature.geometry.x,
        feature.geometry.y,
        feature.geometry.z,
        float(given["velocity_mm_s"]),
        float(given["frequency_hz"]),
        float(given["radius_m"]),
        float(given["decay"]),
    )


def _gate(feature: PlanFeature, _: Mapping[str, int]) -> Gate:
    assert isinstance(feature.geometry, Point)
    width = float(feature.properties.get("width_m", GATE_WIDTH_M))
    return Gate(feature.name or "", feature.geometry.x, feature.geometry.y, feature.geometry.z, width)


_PARTS = {
    "area": _area,
    "equipment": _equipment,
    "walkway": _walkway,
    "stair": _stair,
    "obstacle": _obstacle,
    "vibration_source": _vibration_source,
    "gate": _gate,
}


def plain_name(name: str) -> str:
    """A name without regard to letter case and spacing.

    >>> plain_name(" 10  Electrolysis Hall")
    '10 electrolysis hall'
    """
    return " ".join(name.casefold().split())


def _parts(name: str) -> tuple[str, ...]:
    number, _, rest = plain_name(name).partition(" ")
    return (number, rest) if number.isdigit() and rest else ()
