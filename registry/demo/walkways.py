"""The walkways of one block of the plant: aisles and roads at grade, the racks and platforms above, the stairs between.

Every walkway has a vertex wherever another meets it on its level, and every stair ends on a vertex of both its levels,
so that the network holds together to the centimetre.
"""

from dataclasses import dataclass

from registry.demo.areas import AIR_SEPARATION, AREAS, JETTY, STORAGE, SYNTHESIS

Point = tuple[float, float, float]
Path = list[Point]

RACK_M = 5.5
PLATFORMS_M = (5.5, 11.0, 16.5)
ROADS_EAST_M = (34.0, 200.0, 310.0, 470.0, 624.0)
ROADS_NORTH_M = (20.0, 145.0, 165.0, 300.0)
MAIN_RACK_NORTH_M = 155.0
PITCH_NORTH_M = 345.0
"""From one block to the next one north of it."""


@dataclass(frozen=True, slots=True)
class _Run:
    """A straight walkway along one axis: `at` is the other coordinate."""

    at: float
    low: float
    high: float


def walkways() -> list[tuple[str, Path]]:
    """Names and paths of the walkways of one block."""
    grade = _network(_grade_runs_north(), _grade_runs_east(), 0.0, _STAIR_FEET)
    spines = [_Run(area.spine_east_m, *_spine_span(area.number)) for area in AREAS if area is not JETTY]
    rack = _network(spines, [_Run(MAIN_RACK_NORTH_M, 40.0, 624.0)], RACK_M, _STAIR_HEADS)
    named = [("aisle", path) for path in grade] + [("rack walkway", path) for path in rack]
    named += [("platform", path) for path in _tower(SYNTHESIS.spine_east_m, 326.0, 90.0, 374.0, 98.0)]
    named += [("platform", path) for path in _tower(AIR_SEPARATION.spine_east_m, 48.0, 204.5, 107.0, 219.5)]
    named += [("tank roof", [(east, 96.5, 22.0), (east, 75.0, 22.0)]) for east in _TANKS_EAST_M]
    named.append(("loading platform", [(711.5, 128.0, RACK_M), (711.5, 180.0, RACK_M)]))
    return named


def stairs() -> list[Path]:
    """Paths of the stairs of one block, each from its foot to its head."""
    flights: list[Path] = []
    for area in AREAS:
        if area is not JETTY:
            _, far, foot = _spine_ends(area.number)
            flights.append([(area.spine_east_m, foot, 0.0), (area.spine_east_m, far, RACK_M)])
    flights += [[(east, 147.0, 0.0), (east, MAIN_RACK_NORTH_M, RACK_M)] for east in ROADS_EAST_M[1:]]
    for west, south in ((326.0, 90.0), (48.0, 204.5)):
        flights += [
            [(west, south, PLATFORMS_M[0]), (west, south + 7.0, PLATFORMS_M[1])],
            [(west, south + 7.0, PLATFORMS_M[1]), (west, south, PLATFORMS_M[2])],
        ]
    for east in _TANKS_EAST_M:
        # A spiral half round the tank's shell.
        round_the_shell = ((0.0, -22.0), (15.4, -15.4), (21.7, 0.0), (15.3, 15.3), (0.0, 21.5))
        flights.append([(east + x, 75.0 + y, 22.0 * step / 4) for step, (x, y) in enumerate(round_the_shell)])
    flights += [[(700.0, north, 0.0), (711.5, north, RACK_M)] for north in (128.0, 180.0)]
    return flights


_TANKS_EAST_M = (512.0, 588.0)
_SOUTH = frozenset({10, 20, 30, 50})


def _spine_ends(number: int) -> tuple[float, float, float]:
    """Where a unit's rack leaves the main rack, where it ends, and where the stair at its end stands on the ground."""
    if number in _SOUTH:
        return MAIN_RACK_NORTH_M, 40.0, 33.0
    return MAIN_RACK_NORTH_M, 258.0 if number == 40 else 284.0, 267.0 if number == 40 else 293.0


def _spine_span(number: int) -> tuple[float, float]:
    start, end, _ = _spine_ends(number)
    return (end, start) if end < start else (start, end)


_STAIR_FEET = [
    *((area.spine_east_m, _spine_ends(area.number)[2]) for area in AREAS if area is not JETTY),
    *((east, 147.0) for east in ROADS_EAST_M[1:]),
    *((east, 53.0) for east in _TANKS_EAST_M),
    (700.0, 128.0),
    (700.0, 180.0),
    (549.0, 300.0),
]
_STAIR_HEADS = [
    *((east, MAIN_RACK_NORTH_M) for east in ROADS_EAST_M[1:]),
    (SYNTHESIS.spine_east_m, 94.0),
    (AIR_SEPARATION.spine_east_m, 212.0),
]


def _grade_runs_north() -> list[_Run]:
    runs = [_Run(east, ROADS_NORTH_M[0], ROADS_NORTH_M[-1]) for east in ROADS_EAST_M]
    # Under the units' racks; the one of the storage goes on between the buildings north of it.
    runs += [_Run(east, ROADS_NORTH_M[0], ROADS_NORTH_M[-1]) for east in (116.0, 255.0, 390.0, STORAGE.spine_east_m)]
    runs.append(_Run(700.0, 97.0, 223.0))
    return runs


def _grade_runs_east() -> list[_Run]:
    runs = [_Run(north, ROADS_EAST_M[0], ROADS_EAST_M[-1]) for north in ROADS_NORTH_M if north != 165.0]
    runs.append(_Run(165.0, ROADS_EAST_M[0], 700.0))
    for area in AREAS:
        wests = [east for east in ROADS_EAST_M if east <= area.spine_east_m]
        easts = [east for east in ROADS_EAST_M if east >= area.spine_east_m]
        runs += [_Run(north, wests[-1], easts[0]) for north in area.aisles_m]
    runs += [_Run(north, ROADS_EAST_M[3], ROADS_EAST_M[4]) for north in (212.0, 257.0)]
    return runs


def _network(
    north_runs: list[_Run], east_runs: list[_Run], level: float, also: list[tuple[float, float]]
) -> list[Path]:
    """Paths of the runs, with a vertex at every crossing, every end that touches, and every point of `also` on them."""
    paths: list[Path] = []
    for run in north_runs:
        stops = {run.low, run.high} | {
            e.at for e in east_runs if e.low <= run.at <= e.high and run.low <= e.at <= run.high
        }
        stops |= {north for east, north in also if east == run.at and run.low <= north <= run.high}
        paths.append([(run.at, north, level) for north in sorted(stops)])
    for run in east_runs:
        stops = {run.low, run.high} | {
            n.at for n in north_runs if n.low <= run.at <= n.high and run.low <= n.at <= run.high
        }
        stops |= {east for east, north in also if north == run.at and run.low <= east <= run.high}
        paths.append([(east, run.at, level) for east in sorted(stops)])
    return paths


def _tower(spine: float, west: float, south: float, east: float, north: float) -> list[Path]:
    """Rings round tall equipment on three levels; a bridge on the lowest leads to the unit's rack."""
    middle = (south + north) / 2
    rings: list[Path] = [
        [(west, south, z), (east, south, z), (east, middle, z), (east, north, z), (west, north, z),
         (west, south + 7.0, z), (west, south, z)]
        for z in PLATFORMS_M
    ]  # fmt: skip
    rings.append([(east, middle, RACK_M), (spine, middle, RACK_M)])
    return rings
