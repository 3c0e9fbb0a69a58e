"""Joints along the lines of Saltmarsh Point: at nozzles, valves, spools and vents, and clustered on tubing."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from registry.demo.areas import AREAS
from registry.demo.layout import Block, FloatArray, IntArray, blocks_for
from registry.demo.lines import Lines, joined, lines_of
from registry.demo.places import FLOOR_ABOVE_M, TUBING, VENT, Places, places_along

FAMILIES = ("flanged", "clamp_hub", "twin_ferrule", "cone_thread", "ferrule_mp", "taper_thread", "union")
FAMILY_LETTERS = np.array(["FL", "CH", "TW", "CO", "FE", "TA", "UN"])
ACCESS = ("grade", "platform", "ladder", "scaffold")
PEOPLE = ("S. Pereira", "T. Lindqvist", "J. Novak", "M. Okafor", "R. Ashdown", "D. Marsh")

_TUBE_MM = np.array([6.0, 8.0, 10.0, 12.0, 16.0, 25.0])
_VENT_MM = np.array([15.0, 20.0, 25.0])

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
    """The plant's joints as equal-length arrays, on the plant grid; NaN, NaT or -1 where the list leaves a blank.

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
    kept: list[Places] = []
    first_line = 0
    for part, need in enumerate(wanted.tolist()):
        block, area = blocks[part // len(AREAS)], part % len(AREAS)
        generator = np.random.default_rng(seeds[part])
        own = lines_of(block, area, need, generator)
        offered = places_along(own, generator)
        if len(offered.line) < need:
            raise AssertionError(f"{len(offered.line)} joints laid where {need} were wanted")
        lines.append(own)
        kept.append(Places(offered.line[:need] + first_line, offered.kind[:need], offered.place_m[:need]))
        first_line += len(own.number)
    places = Places(
        np.concatenate([part.line for part in kept]),
        np.concatenate([part.kind for part in kept]),
        np.concatenate([part.place_m for part in kept]),
    )
    number = np.concatenate([np.arange(1, need + 1) for need in wanted.tolist()])
    everything = joined(lines)
    generator = np.random.default_rng(seeds[-1])
    return Plant(blocks, everything, _described(blocks, everything, places, number, generator, as_of))


def _described(
    blocks: tuple[Block, ...],
    lines: Lines,
    places: Places,
    number: IntArray,
    generator: np.random.Generator,
    as_of: date,
) -> Joints:
    line, kind, place = places.line, places.kind, places.place_m
    count = len(line)
    area, block = lines.area[line], lines.block[line]
    styles = np.array([[_STYLES.index(s.style) for s in a.systems] + [0] * (12 - len(a.systems)) for a in AREAS])
    style = styles[area, lines.system[line]]
    where = np.select([kind == TUBING, kind == VENT], [1, 2], 0)
    size = np.select(
        [where == 1, where == 2],
        [
            _TUBE_MM[generator.choice(6, count, p=[0.34, 0.08, 0.24, 0.22, 0.07, 0.05])],
            generator.choice(_VENT_MM, count),
        ],
        lines.size_mm[line],
    )
    family = _families(style, where, size, generator)
    east = np.empty(count)
    north = np.empty(count)
    for one in blocks:
        mine = block == one.index
        east[mine], north[mine] = one.place(place[mine, 0], place[mine, 1])
    temperature = np.where(
        where == 1, 0.35 * lines.temperature_degc[line] + 0.65 * 18.0, lines.temperature_degc[line]
    )  # a dead leg of tubing takes the weather's temperature more than the line's
    # Built before the history begins to run, or a joint could be repaired before it was there.
    built = np.datetime64(as_of, "D") - generator.integers(7 * 365 + 60, 11 * 365, len(lines.number))[line]
    z = place[:, 2]
    above_floor = np.where(z > FLOOR_ABOVE_M, z - 5.5 * np.floor((z + 0.3) / 5.5), z)
    access = np.select([(z <= 2.0), (z > FLOOR_ABOVE_M) & (above_floor < 2.0), above_floor < 3.6], [0, 1, 2], 3)
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


def _families(style: IntArray, where: IntArray, size: FloatArray, generator: np.random.Generator) -> IntArray:
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


def _given(generator: np.random.Generator, count: int) -> Callable[[float], npt.NDArray[np.bool_]]:
    """Which entries of a column somebody filled in, for a share of them."""

    def seen(share: float) -> npt.NDArray[np.bool_]:
        return generator.random(count) < share

    return seen
