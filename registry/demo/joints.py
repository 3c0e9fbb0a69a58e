"""Joints along the lines of Saltmarsh Point: at nozzles, valve stations, spools, vents, and clustered on instrument tubing."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from registry.demo.areas import AREAS, JETTY
from registry.demo.layout import Block, FloatArray, IntArray, blocks_for
from registry.demo.lines import CORNERS, Lines, joined, lines_of

FAMILIES = ("flanged", "clamp_hub", "twin_ferrule", "cone_thread", "ferrule_mp", "taper_thread", "union")
FAMILY_LETTERS = np.array(["FL", "CH", "TW", "CO", "FE", "TA", "UN"])
ACCESS = ("grade", "platform", "ladder", "scaffold")
PEOPLE = ("S. Pereira", "T. Lindqvist", "J. Novak", "M. Okafor", "R. Ashdown", "D. Marsh")

NOZZLE, VALVE, SPOOL, TUBING, VENT = range(5)
_TUBE_MM = np.array([6.0, 8.0, 10.0, 12.0, 16.0, 25.0])
_VENT_MM = np.array([15.0, 20.0, 25.0])
_SPOOL_M = 16.0
_FLOOR_ABOVE_M = 4.6
"""From this elevation a joint belongs to the floor of the rack, at 5.5 m."""

# Chances of the families, in the order of FAMILIES, by where the joint sits and what kind of line it is on.
_FAMILY_CHANCE = {
    ("process", "main"): (0.93, 0.03, 0.0, 0.0, 0.0, 0.0, 0.04),
    ("process", "tubing"): (0.0, 0.0, 0.84, 0.0, 0.06, 0.10, 0.0),
    ("process", "vent"): (0.20, 0.0, 0.0, 0.0, 0.0, 0.55, 0.25),
    ("high", "main"): (0.42, 0.52, 0.0, 0.06, 0.0, 0.0, 0.0),
    ("high", "tubing"): (0.0, 0.0, 0.10, 0.45, 0.45, 0.0, 0.0),
    ("high", "vent"): (0.0, 0.10, 0.0, 0.50, 0.40, 0.0, 0.0),
    ("utility", "main"): (0.62, 0.0, 0.0, 0.0, 0.0, 0.20, 0.18),
    ("utility", "tubing"): (0.0, 0.0, 0.88, 0.0, 0.0, 0.12, 0.0),
    ("utility", "vent"): (0.0, 0.0, 0.0, 0.0, 0.0, 0.70, 0.30),
}
_STYLES = ("process", "high", "utility")
_PLACES = ("main", "tubing", "vent")


@dataclass(frozen=True, slots=True)
class Joints:
    """The plant's joints as equal-length arrays, on the plant grid; NaN, NaT or -1 where the joint list will leave a blank.

    `block`, `area` and `line` point at where the joint truly is, whatever the list says of it.
    """

    block: IntArray
    area: IntArray
    line: IntArray
    number: IntArray
    family: IntArray
    size_mm: FloatArray
    east_m: FloatArray
    north_m: FloatArray
    elevation_m: FloatArray
    pressure_barg: FloatArray
    temperature_degc: FloatArray
    made_up_on: npt.NDArray[np.datetime64]
    fitter: IntArray
    method: npt.NDArray[np.str_]
    vibration_mm_s: FloatArray
    vibration_hz: FloatArray
    cycles_per_year: FloatArray
    range_degc: FloatArray
    access: IntArray
    outage: IntArray

    def __len__(self) -> int:
        return len(self.number)


@dataclass(frozen=True, slots=True)
class Plant:
    """The invented plant: its blocks, lines and joints."""

    blocks: tuple[Block, ...]
    lines: Lines
    joints: Joints


def plant(joints: int, seed: int, as_of: date) -> Plant:
    """Lay out a plant of exactly so many joints; the same arguments give the same plant."""
    blocks = blocks_for(joints)
    shares = np.tile([area.share for area in AREAS], len(blocks)) / len(blocks)
    wanted = np.floor(shares * joints).astype(np.int64)
    wanted[np.argsort(-(shares * joints - wanted), kind="stable")[: joints - int(wanted.sum())]] += 1
    seeds = np.random.SeedSequence(seed).spawn(len(wanted) + 1)
    lines: list[Lines] = []
    kept: list[tuple[IntArray, IntArray, FloatArray, IntArray]] = []
    first_line = 0
    for part, need in enumerate(wanted):
        block, area = blocks[part // len(AREAS)], part % len(AREAS)
        generator = np.random.default_rng(seeds[part])
        own = lines_of(block, area, int(need), generator)
        line, kind, place, index = _along(own, generator)
        if len(line) < need:
            raise AssertionError(f"{len(line)} joints laid where {need} were wanted")
        lines.append(own)
        kept.append((line[:need] + first_line, kind[:need], place[:need], index[:need]))
        first_line += len(own.number)
    everything = joined(lines)
    line, kind, place, index = (np.concatenate([part[column] for part in kept]) for column in range(4))
    number = np.concatenate([np.arange(1, need + 1) for need in wanted])
    generator = np.random.default_rng(seeds[-1])
    return Plant(blocks, everything, _described(blocks, everything, line, kind, place, index, number, generator, as_of))


def _along(lines: Lines, generator: np.random.Generator) -> tuple[IntArray, IntArray, FloatArray, IntArray]:
    """Line, kind of place, place and index in its cluster of each joint that the lines carry."""
    count = len(lines.number)
    steps = np.linalg.norm(np.diff(lines.corner_m, axis=1), axis=2)
    at_corner = np.concatenate([np.zeros((count, 1)), np.cumsum(steps, axis=1)], axis=1)
    length = at_corner[:, -1]
    every = np.arange(count)
    far = np.flatnonzero(~lines.leaves_unit)
    valves = np.repeat(every, 1 + generator.poisson(0.9, count))
    tubing = np.repeat(every, 1 + generator.poisson(1.0, count))
    vents = np.repeat(every, generator.poisson(1.1, count))
    spools = np.repeat(every, np.maximum(length / _SPOOL_M, 1).astype(np.int64))
    nth = np.arange(len(spools)) - np.searchsorted(spools, spools)

    def near_equipment(of: IntArray) -> FloatArray:
        """Beside the equipment at either end mostly, somewhere along the line else."""
        u = generator.random(len(of))
        first = at_corner[of, 1] + generator.random(len(of)) * np.minimum(6.0, at_corner[of, 3] - at_corner[of, 1])
        last = at_corner[of, 8] - generator.random(len(of)) * np.minimum(6.0, at_corner[of, 8] - at_corner[of, 6])
        return np.where(u < 0.45, first, np.where(u < 0.8, last, generator.random(len(of)) * length[of]))

    host = np.concatenate([every, far, valves, spools, tubing, vents])
    kind = np.repeat(
        [NOZZLE, NOZZLE, VALVE, SPOOL, TUBING, VENT],
        [len(every), len(far), len(valves), len(spools), len(tubing), len(vents)],
    )
    along = np.concatenate(
        [
            np.full(count, 0.15),
            length[far] - 0.15,
            near_equipment(valves),
            np.minimum((nth + generator.uniform(0.3, 0.7, len(nth))) * _SPOOL_M, length[spools]),
            near_equipment(tubing),
            near_equipment(vents),
        ]
    )
    size = np.select(
        [kind == VALVE, kind == TUBING, kind == VENT],
        [2 * generator.integers(1, 4, len(kind)), generator.integers(5, 13, len(kind)), generator.integers(1, 3, len(kind))],
        1,
    )
    order = np.argsort(host, kind="stable")
    host, kind, along, size = host[order], kind[order], along[order], size[order]
    base, heading = _point_along(lines, at_corner, host, along)
    cluster = np.repeat(np.arange(len(host)), size)
    nth = np.arange(len(cluster)) - np.repeat(np.cumsum(size) - size, size)
    place = _spread(lines, host, kind, base, heading, size, cluster, nth, generator)
    return host[cluster], kind[cluster], place, nth


def _point_along(
    lines: Lines, at_corner: FloatArray, host: IntArray, along: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Where `along` metres from the start of line `host` are, and the way the line runs there."""
    passed = at_corner[host]
    leg = np.clip((passed[:, 1:] < along[:, None]).sum(axis=1), 0, CORNERS - 2)
    row = np.arange(len(host))
    start, end = lines.corner_m[host, leg], lines.corner_m[host, leg + 1]
    span = passed[row, leg + 1] - passed[row, leg]
    share = np.divide(along - passed[row, leg], span, out=np.zeros_like(along), where=span > 1e-9)
    heading = np.divide(end - start, span[:, None], out=np.zeros_like(start), where=span[:, None] > 1e-9)
    return start + np.clip(share, 0, 1)[:, None] * (end - start), heading


def _spread(
    lines: Lines,
    host: IntArray,
    kind: IntArray,
    base: FloatArray,
    heading: FloatArray,
    size: IntArray,
    cluster: IntArray,
    nth: IntArray,
    generator: np.random.Generator,
) -> FloatArray:
    """Places of the joints of the clusters: valves in a row on the pipe, tubing from its tap down to an instrument stand."""
    on_rack = base[:, 2] > _FLOOR_ABOVE_M
    floor = np.where(on_rack, 5.5 * np.floor(np.maximum(base[:, 2], 5.5) / 5.5), 0.0)
    # A valve station stands where a hand reaches it; what hangs in between comes down to the ground.
    reach = floor + generator.uniform(0.6, 1.5, len(host))
    base = base.copy()
    base[:, 2] = np.where((kind == VALVE) & (base[:, 2] - floor > 1.9) & ~on_rack, reach, base[:, 2])
    row = np.abs(heading[:, 2]) > 0.9
    way = np.where(row[:, None], [1.0, 0.0, 0.0], heading)
    way[np.linalg.norm(way, axis=1) < 1e-9] = (1.0, 0.0, 0.0)
    angle = generator.uniform(0, 2 * np.pi, len(host))
    # Tubing runs toward the aisle at grade, and along the walkway on the rack.
    toward = lines.aisle_side[host]
    tube = np.column_stack(
        [
            np.cos(angle) * np.where(on_rack, 0.4, 1.0),
            np.where(on_rack, np.sin(angle), toward * np.abs(np.sin(angle))),
            np.zeros(len(host)),
        ]
    )
    run = generator.uniform(0.9, 2.6, len(host))
    middle = (nth - (size[cluster] - 1) / 2)[:, None]
    share = nth / np.maximum(size[cluster] - 1, 1)
    place = base[cluster] + np.where(
        (kind[cluster] == TUBING)[:, None], tube[cluster] * (run[cluster] * share)[:, None], way[cluster] * 0.45 * middle
    )
    drop = np.where(kind[cluster] == TUBING, (reach - base[:, 2])[cluster] * share, 0.0)
    place[:, 2] += drop
    place += generator.normal(0, 0.04, place.shape)
    place[:, 2] = np.maximum(place[:, 2], 0.2)
    return place


def _described(
    blocks: tuple[Block, ...],
    lines: Lines,
    line: IntArray,
    kind: IntArray,
    place: FloatArray,
    index: IntArray,
    number: IntArray,
    generator: np.random.Generator,
    as_of: date,
) -> Joints:
    count = len(line)
    area, block = lines.area[line], lines.block[line]
    styles = np.array([[_STYLES.index(s.style) for s in a.systems] + [0] * (12 - len(a.systems)) for a in AREAS])
    style = styles[area, lines.system[line]]
    where = np.select([kind == TUBING, kind == VENT], [1, 2], 0)
    size = np.select(
        [where == 1, where == 2],
        [_TUBE_MM[generator.choice(6, count, p=[0.34, 0.08, 0.24, 0.22, 0.07, 0.05])], generator.choice(_VENT_MM, count)],
        lines.size_mm[line],
    )
    family = _families(style, where, size, generator)
    mirrored = block % 2 == 1
    east = np.empty(count)
    north = np.empty(count)
    for one in blocks:
        mine = block == one.index
        east[mine], north[mine] = one.place(place[mine, 0], place[mine, 1])
    del mirrored
    temperature = np.where(
        where == 1, 0.35 * lines.temperature_degc[line] + 0.65 * 18.0, lines.temperature_degc[line]
    )  # a dead leg of tubing takes the weather's temperature more than the line's
    built = np.datetime64(as_of, "D") - generator.integers(5 * 365 + 60, 9 * 365, len(lines.number))[line]
    z = place[:, 2]
    above_floor = np.where(z > _FLOOR_ABOVE_M, z - 5.5 * np.floor((z + 0.3) / 5.5), z)
    access = np.select(
        [(z <= 2.0), (z > _FLOOR_ABOVE_M) & (above_floor < 2.0), above_floor < 3.6], [0, 1, 2], 3
    )
    seen = _given(generator, count)
    cycling = seen(0.32)
    shaken = seen(0.02) & (lines.size_mm[line] <= 100)
    return Joints(
        block=block,
        area=area,
        line=line,
        number=number,
        family=family,
        size_mm=np.where(seen(0.965), size, np.nan),
        east_m=np.round(east, 2),
        north_m=np.round(north, 2),
        elevation_m=np.where(seen(0.985), np.round(z, 2), np.nan),
        pressure_barg=np.round(lines.pressure_barg[line], 2),
        temperature_degc=np.where(seen(0.93), np.round(temperature, 1), np.nan),
        made_up_on=np.where(seen(0.74), built + generator.integers(0, 40, count), np.datetime64("NaT", "D")),
        fitter=np.where(seen(0.72), generator.integers(0, len(PEOPLE), count), -1),
        method=np.where(seen(0.62), np.where(np.isin(family, [0, 1, 3]), "torque", "turns"), ""),
        vibration_mm_s=np.where(shaken, np.round(generator.lognormal(0.9, 0.5, count), 2), np.nan),
        vibration_hz=np.where(shaken, np.round(generator.uniform(8, 60, count), 1), np.nan),
        cycles_per_year=np.where(cycling, lines.cycles_per_year[line], np.nan),
        range_degc=np.where(cycling & seen(0.9), lines.range_degc[line], np.nan),
        access=np.where(seen(0.86), access, -1),
        outage=np.where(seen(0.55), ((style == 1) & (generator.random(count) < 0.35)).astype(np.int64), -1),
    )


def _families(
    style: IntArray, where: IntArray, size: FloatArray, generator: np.random.Generator
) -> IntArray:
    u = generator.random(len(style))
    chance = np.array([[_FAMILY_CHANCE[s, w] for w in _PLACES] for s in _STYLES])
    family = (np.cumsum(chance, axis=2)[style, where] < u[:, None]).sum(axis=1)
    family = np.minimum(family, len(FAMILIES) - 1)
    wide = size >= 50
    # Threads, unions and cones are small things; a wide pipe has flanges.
    family = np.where(wide & np.isin(family, [3, 5, 6]), 0, family)
    # Thin high-pressure lines are coned and threaded more often than flanged.
    thin = (style == 1) & (where == 0) & (size <= 25) & (generator.random(len(style)) < 0.6)
    return np.where(thin, 3, family)


def _given(generator: np.random.Generator, count: int):  # noqa: ANN202
    def seen(share: float) -> npt.NDArray[np.bool_]:
        return generator.random(count) < share

    return seen
