"""Process lines of Saltmarsh Point: from equipment over the unit's rack to equipment, or out by the main rack."""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from registry.demo.areas import AREAS, JETTY, Area
from registry.demo.layout import Block, Equipment, FloatArray, IntArray, equipment_of

CORNERS = 10
"""Corners of a line's path; a shorter path repeats its last one."""

BRIDGE_M = 3.2
"""Elevation at which lines cross from their equipment to the unit's rack."""

_JOINTS_A_LINE = 34.0
_UPPER_RACK_M = 2.5
_PLATFORM_NOZZLES_M = np.array([1.5, 6.6, 12.1, 17.6])


@dataclass(frozen=True, slots=True)
class Lines:
    """Lines as equal-length arrays; `corner_m` is (n, CORNERS, 3): east, north, elevation within the block."""

    block: IntArray
    area: IntArray
    system: IntArray
    number: IntArray
    corner_m: FloatArray
    aisle_side: FloatArray
    size_mm: FloatArray
    pressure_barg: FloatArray
    temperature_degc: FloatArray
    cycles_per_year: FloatArray
    range_degc: FloatArray
    leaves_unit: npt.NDArray[np.bool_]


def lines_of(block: Block, area_index: int, joints: int, generator: np.random.Generator) -> Lines:
    """Rather more lines than `joints` joints of one area of one block need."""
    area = AREAS[area_index]
    stock = equipment_of(area)
    count = int(joints / _JOINTS_A_LINE * 1.25) + len(area.systems) + 4
    shares = np.array([system.share for system in area.systems])
    system = generator.choice(len(area.systems), size=count, p=shares / shares.sum())
    leaves = np.array([not s.end for s in area.systems])[system]
    starts = _pick(stock, [s.start for s in area.systems], system, generator)
    ends = _pick(stock, [s.end or s.start for s in area.systems], system, generator)
    corner, side = _paths(area, stock, starts, ends, leaves, system, generator)

    def between(name: str) -> FloatArray:
        bounds = np.array([getattr(s, name) for s in area.systems])[system]
        return generator.uniform(bounds[:, 0], bounds[:, 1])

    sizes = [np.array(s.sizes_mm) for s in area.systems]
    chosen = generator.random(count)
    size = np.array([sizes[s][int(u * len(sizes[s]))] for s, u in zip(system, chosen, strict=True)])
    # Services share one numbering in a unit, as plants do: 20-HY-101, 20-LU-102, …
    return Lines(
        block=np.full(count, block.index),
        area=np.full(count, area_index),
        system=system,
        number=101 + np.arange(count),
        corner_m=corner,
        aisle_side=side,
        size_mm=size,
        pressure_barg=np.round(between("pressure_barg"), 2),
        temperature_degc=np.round(between("temperature_degc"), 1),
        cycles_per_year=np.round(between("cycles_per_year")),
        range_degc=np.round(between("range_degc")),
        leaves_unit=leaves,
    )


def joined(parts: list[Lines]) -> Lines:
    """Several areas' lines, one after the other."""
    return Lines(**{f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Lines)})


def _pick(stock: Equipment, letters: list[str], system: IntArray, generator: np.random.Generator) -> IntArray:
    """A piece of equipment for each line, of one of its system's letters."""
    chosen = np.empty(len(system), dtype=np.int64)
    for index, wanted in enumerate(letters):
        mine = system == index
        fitting = np.flatnonzero(np.isin(stock.letter, list(wanted)))
        chosen[mine] = generator.choice(fitting, size=int(mine.sum()))
    return chosen


def _paths(
    area: Area,
    stock: Equipment,
    starts: IntArray,
    ends: IntArray,
    leaves: npt.NDArray[np.bool_],
    system: IntArray,
    generator: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    count = len(starts)
    start_e, start_n, start_edge, start_z, start_side = _nozzles(stock, starts, generator)
    end_e, end_n, end_edge, end_z, _ = _nozzles(stock, ends, generator)
    # The middle of a rack is its walkway, and the pipes lie on both sides of it.
    lane = area.spine_east_m + generator.choice([-1.0, 1.0], count) * generator.uniform(0.7, 2.6, count)
    style = np.array([s.style for s in area.systems])[system]
    rack = np.full(count, area.rack_elevation_m)
    bridge = np.full(count, min(BRIDGE_M, area.rack_elevation_m))
    if area is JETTY:
        main = generator.uniform(157.5, 161.5, count)
    else:
        rack += np.where(style == "utility", _UPPER_RACK_M, 0.0)
        # South units use the southern half of the main rack, north units the northern.
        south = area.outline[0][1] < 100.0
        main = generator.uniform(152.3, 154.3, count) if south else generator.uniform(155.7, 157.7, count)
    west, east = area.rack_ends_m
    boundary = np.where(generator.random(count) < 0.5, west, east) + generator.uniform(-1.0, 1.0, count)

    inward = [
        (start_e, start_edge, start_z),
        (start_e, start_n, start_z),
        (start_e, start_n, bridge),
        (lane, start_n, bridge),
        (lane, start_n, rack),
    ]
    to_equipment = [
        (lane, end_n, rack),
        (lane, end_n, bridge),
        (end_e, end_n, bridge),
        (end_e, end_n, end_z),
        (end_e, end_edge, end_z),
    ]
    out = [(lane, main, rack)] + [(boundary, main, rack)] * 4
    corner = np.empty((count, CORNERS, 3))
    for position, point in enumerate(inward):
        corner[:, position] = np.column_stack(point)
    for position, (inside, outside) in enumerate(zip(to_equipment, out, strict=True), start=len(inward)):
        corner[:, position] = np.where(leaves[:, None], np.column_stack(outside), np.column_stack(inside))
    return corner, start_side


def _nozzles(
    stock: Equipment, chosen: IntArray, generator: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """East of the nozzles, north of the pipe run, north of the equipment's edge, nozzle elevation, side (±1)."""
    count = len(chosen)
    depth = stock.depth_m[chosen]
    east = stock.east_m[chosen] + generator.uniform(-0.42, 0.42, count) * stock.width_m[chosen]
    side = generator.choice([-1.0, 1.0], count)
    edge = stock.north_m[chosen] + side * depth / 2
    room = np.clip(9.0 - depth / 2 - 2.2, 0.6, 3.6)
    run = edge + side * (0.8 + generator.uniform(0.0, 1.0, count) * room)
    tall = np.isin(stock.letter[chosen], ["R", "C"])
    platform = generator.choice(_PLATFORM_NOZZLES_M, count) + generator.uniform(-0.4, 0.4, count)
    elevation = np.where(tall, platform, generator.uniform(0.7, 2.6, count))
    return east, run, edge, elevation, side
