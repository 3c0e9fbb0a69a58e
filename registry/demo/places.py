"""Where joints sit along a line: at its nozzles, at valves, spools and vents, and clustered on instrument tubing."""

from dataclasses import dataclass

import numpy as np

from registry.demo.layout import FloatArray, IntArray
from registry.demo.lines import CORNERS, Lines

NOZZLE, VALVE, SPOOL, TUBING, VENT = range(5)
FLOOR_ABOVE_M = 4.6
"""From this elevation a joint belongs to the floor of the rack, at 5.5 m."""

_SPOOL_M = 16.0


@dataclass(frozen=True, slots=True)
class Places:
    """Places for joints: the line, the kind of place, and east, north, elevation within the block (n, 3) [m]."""

    line: IntArray
    kind: IntArray
    place_m: FloatArray


def places_along(lines: Lines, generator: np.random.Generator) -> Places:
    """Every place for a joint that the lines offer, line by line."""
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
        [
            2 * generator.integers(1, 4, len(kind)),
            generator.integers(5, 13, len(kind)),
            generator.integers(1, 3, len(kind)),
        ],
        1,
    )
    order = np.argsort(host, kind="stable")
    host, kind, along, size = host[order], kind[order], along[order], size[order]
    base, heading = _point_along(lines, at_corner, host, along)
    cluster = np.repeat(np.arange(len(host)), size)
    nth = np.arange(len(cluster)) - np.repeat(np.cumsum(size) - size, size)
    place = _spread(lines, host, kind, base, heading, size, cluster, nth, generator)
    return Places(host[cluster], kind[cluster], place)


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
    """Places of the joints of the clusters: valves in a row on the pipe, tubing from its tap down to a stand."""
    on_rack = base[:, 2] > FLOOR_ABOVE_M
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
        (kind[cluster] == TUBING)[:, None],
        tube[cluster] * (run[cluster] * share)[:, None],
        way[cluster] * 0.45 * middle,
    )
    drop = np.where(kind[cluster] == TUBING, (reach - base[:, 2])[cluster] * share, 0.0)
    place[:, 2] += drop
    place += generator.normal(0, 0.04, place.shape)
    place[:, 2] = np.maximum(place[:, 2], 0.2)
    return place
