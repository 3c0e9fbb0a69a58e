"""The plot plan of Saltmarsh Point as GeoJSON features in plant-grid metres.

One block of 720 × 345 m carries the eight areas. A larger plant is more blocks: every second one stands mirrored
across a tidal basin, and pairs of them follow one another to the north.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from registry.demo.areas import AREAS, JETTY, Area, Box, Row
from registry.demo.walkways import PITCH_NORTH_M, ROADS_EAST_M, Path, stairs, walkways

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

JOINTS_A_BLOCK = 40_000
"""A plant grows into another block before a block holds more joints than this."""

SOURCE_DECAY = 0.3
"""Velocity falls with distance to this power: slower than in open ground, for steelwork carries it."""

_BASIN_EAST_M = 790.0
_BUILDINGS: tuple[tuple[str, Box], ...] = (
    ("Control room", (486.0, 184.0, 532.0, 204.0)),
    ("Workshop", (486.0, 220.0, 532.0, 250.0)),
    ("Stores", (486.0, 264.0, 532.0, 286.0)),
    ("Fire station", (566.0, 184.0, 612.0, 204.0)),
    ("Laboratory", (566.0, 220.0, 612.0, 250.0)),
    ("Offices", (566.0, 264.0, 612.0, 286.0)),
)
_GATES = (("Main gate", 549.0, 300.0), ("West gate", 34.0, 145.0), ("Jetty gate", 624.0, 165.0))


@dataclass(frozen=True, slots=True)
class Block:
    """One of the plant's blocks, and how its own coordinates lie on the plant grid."""

    index: int

    def place(self, east: Any, north: Any) -> tuple[Any, Any]:
        """Plant-grid east and north of points of the block [m]."""
        return (2 * _BASIN_EAST_M - east if self.index % 2 else east), north + PITCH_NORTH_M * (self.index // 2)

    def area_name(self, area: Area) -> str:
        """The area's name; from the second block on with the block's number."""
        return area.name if self.index == 0 else f"{area.name} {self.index + 1}"

    def number(self, area: Area) -> int:
        """The area's number as it stands in tags: 20, 120, 220, …"""
        return 100 * self.index + area.number


@dataclass(frozen=True, slots=True)
class Equipment:
    """The equipment of one area of a block, as equal-length arrays; the first of a row is numbered row × 100 + 1."""

    letter: npt.NDArray[np.str_]
    number: IntArray
    east_m: FloatArray
    north_m: FloatArray
    width_m: FloatArray
    depth_m: FloatArray
    row: IntArray


@dataclass(frozen=True, slots=True)
class Source:
    """A machine that turns or strokes: velocity at 1 m, the frequency it works at, and how far it is felt."""

    tag: str
    east_m: float
    north_m: float
    velocity_mm_s: float
    frequency_hz: float
    radius_m: float


def blocks_for(joints: int) -> tuple[Block, ...]:
    """The blocks that a plant of so many joints has."""
    return tuple(Block(index) for index in range(max(1, -(-joints // JOINTS_A_BLOCK))))


def equipment_of(area: Area) -> Equipment:
    """The equipment of an area, row by row."""
    rows = [(position, row, place) for position, row in enumerate(area.rows) for place in range(row.count)]
    return Equipment(
        letter=np.array([row.letter for _, row, _ in rows]),
        number=np.array([(position + 1) * 100 + place + 1 for position, _, place in rows]),
        east_m=np.array([_place_in_row(row, place) for _, row, place in rows]),
        north_m=np.array([row.north_m for _, row, _ in rows]),
        width_m=np.array([row.width_m for _, row, _ in rows]),
        depth_m=np.array([row.depth_m for _, row, _ in rows]),
        row=np.array([position for position, _, _ in rows]),
    )


def sources_of(block: Block) -> list[Source]:
    """The machines of a block that shake what stands around them."""
    sources: list[Source] = []
    for area in AREAS:
        stock = equipment_of(area)
        for item in np.flatnonzero(np.array([area.rows[row].velocity_mm_s > 0 for row in stock.row])):
            row = area.rows[int(stock.row[item])]
            # Machines of one row do not shake alike: ± 15 % along the row, the same at every run.
            share = 0.85 + 0.3 * (int(item) * 7 % 5) / 4
            east, north = _rounded(block, float(stock.east_m[item]), float(stock.north_m[item]))
            sources.append(
                Source(
                    tag=f"{block.number(area)}-{row.letter}-{stock.number[item]}",
                    east_m=east,
                    north_m=north,
                    velocity_mm_s=round(row.velocity_mm_s * share, 2),
                    frequency_hz=row.frequency_hz,
                    radius_m=round(max(row.width_m, row.depth_m) / 2 + 8.0, 1),
                )
            )
    return sources


def plot_plan(blocks: tuple[Block, ...]) -> dict[str, Any]:
    """The whole plot plan: a GeoJSON FeatureCollection in plant-grid metres."""
    features: list[dict[str, Any]] = []
    for block in blocks:
        features += _block_features(block)
    features += _ways_between(blocks)
    return {
        "type": "FeatureCollection",
        "name": "Saltmarsh Point, an invented plant: every place, name and number here is made up",
        "features": features,
    }


def _place_in_row(row: Row, place: int) -> float:
    return row.west_m + (place + 0.5) * (row.east_m - row.west_m) / row.count


def _block_features(block: Block) -> list[dict[str, Any]]:
    suffix = "" if block.index == 0 else f" {block.index + 1}"
    features: list[dict[str, Any]] = []
    for area in AREAS:
        features.append(_polygon(block, "area", block.area_name(area), area.outline, occupancy=area.occupancy))
        features += _equipment_features(block, area)
        features += [_box(block, "obstacle", name + suffix, box) for name, box in area.buildings]
    features += [_box(block, "obstacle", name + suffix, box) for name, box in _BUILDINGS]
    shore = shapely.box(640.0, 26.0 if block.index < 2 else -20.0, _BASIN_EAST_M, 324.0)
    water = shapely.difference(shore, shapely.Polygon(JETTY.outline))
    assert isinstance(water, shapely.Polygon), "the jetty reaches in from the shore and cuts nothing off"
    outline = tuple((float(x), float(y)) for x, y in water.exterior.coords[:-1])
    features.append(_polygon(block, "obstacle", f"Tidal basin{suffix}", outline, surface="water"))
    for source in sources_of(block):
        shakes = {
            "velocity_mm_s": source.velocity_mm_s,
            "frequency_hz": source.frequency_hz,
            "radius_m": source.radius_m,
            "decay": SOURCE_DECAY,
        }
        features.append(_feature("vibration_source", source.tag, "Point", [source.east_m, source.north_m], shakes))
    features += [_line(block, "walkway", name, path) for name, path in walkways()]
    features += [_line(block, "stair", "stair", path) for path in stairs()]
    features += [_point(block, "gate", name + suffix, east, north) for name, east, north in _GATES]
    return features


def _equipment_features(block: Block, area: Area) -> list[dict[str, Any]]:
    features: list[dict[str, Any]] = []
    stock = equipment_of(area)
    for item in range(len(stock.letter)):
        row = area.rows[int(stock.row[item])]
        tag = f"{block.number(area)}-{row.letter}-{stock.number[item]}"
        east, north = float(stock.east_m[item]), float(stock.north_m[item])
        if row.letter in "VRT" and row.width_m == row.depth_m:
            outline = shapely.Point(east, north).buffer(row.width_m / 2, quad_segs=6 if row.width_m < 10 else 16)
        else:
            outline = shapely.box(
                east - row.width_m / 2, north - row.depth_m / 2, east + row.width_m / 2, north + row.depth_m / 2
            )
        ring = tuple((float(x), float(y)) for x, y in outline.exterior.coords[:-1])
        features.append(_polygon(block, "equipment", tag, ring, description=row.what))
    return features


def _ways_between(blocks: tuple[Block, ...]) -> list[dict[str, Any]]:
    """Roads that join the blocks: northward beside each other, and over a causeway at the basin's southern end."""
    features: list[dict[str, Any]] = []
    indices = {block.index for block in blocks}
    for block in blocks:
        if block.index + 2 in indices:
            road: Path = [(ROADS_EAST_M[1], 300.0, 0.0), (ROADS_EAST_M[1], PITCH_NORTH_M + 20.0, 0.0)]
            features.append(_line(block, "walkway", "road", road))
    if 1 in indices:
        east = ROADS_EAST_M[-1]
        causeway: Path = [(east, 20.0, 0.0), (2 * _BASIN_EAST_M - east, 20.0, 0.0)]
        features.append(_line(Block(0), "walkway", "causeway", causeway))
    return features


def _polygon(
    block: Block, kind: str, name: str, outline: tuple[tuple[float, float], ...], **properties: Any
) -> dict[str, Any]:
    ring = [_rounded(block, east, north) for east, north in outline]
    if block.index % 2:
        ring.reverse()  # mirrored, and RFC 7946 wants the outer ring counter-clockwise
    if not shapely.LinearRing(ring).is_ccw:
        ring.reverse()
    return _feature(kind, name, "Polygon", [[*ring, ring[0]]], properties)


def _box(block: Block, kind: str, name: str, box: Box) -> dict[str, Any]:
    west, south, east, north = box
    return _polygon(block, kind, name, ((west, south), (east, south), (east, north), (west, north)))


def _line(block: Block, kind: str, name: str, path: Path) -> dict[str, Any]:
    return _feature(kind, name, "LineString", [[*_rounded(block, e, n), round(z, 2)] for e, n, z in path], {})


def _point(block: Block, kind: str, name: str, east: float, north: float, **properties: Any) -> dict[str, Any]:
    return _feature(kind, name, "Point", _rounded(block, east, north), properties)


def _rounded(block: Block, east: float, north: float) -> list[float]:
    east, north = block.place(east, north)
    return [round(float(east), 2), round(float(north), 2)]


def _feature(kind: str, name: str, shape: str, coordinates: Any, properties: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": {"kind": kind, "name": name, **properties},
        "geometry": {"type": shape, "coordinates": coordinates},
    }
