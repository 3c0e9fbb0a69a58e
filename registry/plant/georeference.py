"""From the plant grid to the world: an affine map into an EPSG system, and from there to WGS 84 for GeoJSON."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Self

import numpy as np
import shapely
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError
from shapely.geometry.base import BaseGeometry

from registry.errors import Invalid
from registry.plant.model import Floats


class GeoreferenceRefused(Invalid):
    """The georeference was refused"""

    slug = "georeference-refused"


@dataclass(frozen=True, slots=True)
class Georeference:
    """Where the plant grid lies: east' = a e + b n + x0 and north' = d e + f n + y0 in an EPSG system of metres.

    `grid_to_epsg` holds a, b, d, f, x0, y0.
    """

    epsg: int
    grid_to_epsg: tuple[float, float, float, float, float, float]

    @classmethod
    def checked(cls, epsg: int, grid_to_epsg: Sequence[float]) -> Self:
        """A georeference that can be used. Raises GeoreferenceRefused."""
        if len(grid_to_epsg) != 6 or not all(math.isfinite(number) for number in grid_to_epsg):
            raise GeoreferenceRefused("the map from the grid is six finite numbers: a, b, d, f, x0, y0")
        a, b, d, f, x0, y0 = (float(number) for number in grid_to_epsg)
        if abs(a * f - b * d) < 1e-9:
            raise GeoreferenceRefused("the map from the grid flattens the plant: a f - b d is nought")
        found = cls(epsg, (a, b, d, f, x0, y0))
        corner = found.wgs84(np.array([[0.0, 0.0]]))[0]
        if not np.isfinite(corner).all():
            raise GeoreferenceRefused(f"the grid's origin lies outside EPSG:{epsg}")
        return found

    def wgs84(self, positions: Floats) -> Floats:
        """Longitude and latitude in degrees (and elevation as it was) of grid positions (n, 2 or 3) [m]."""
        a, b, d, f, x0, y0 = self.grid_to_epsg
        east, north = positions[:, 0], positions[:, 1]
        longitude, latitude = _to_wgs84(self.epsg).transform(a * east + b * north + x0, d * east + f * north + y0)
        return np.column_stack([longitude, latitude, positions[:, 2:]])

    def wgs84_geometry(self, geometry: BaseGeometry) -> BaseGeometry:
        """A geometry of the plant grid in WGS 84, to the ninth decimal (a tenth of a millimetre)."""
        placed = shapely.transform(geometry, lambda given: np.round(self.wgs84(given), 9), include_z=geometry.has_z)
        # RFC 7946 wants outlines anticlockwise, and a georeference may mirror.
        return shapely.orient_polygons(placed) if isinstance(placed, shapely.Polygon | shapely.MultiPolygon) else placed


def coordinates_member(georeference: Georeference | None) -> dict[str, Any]:
    """What a FeatureCollection says of its coordinates beside its features."""
    if georeference is None:
        return {"coordinates_are": "plant grid: east, north, elevation in metres (no georeference is recorded)"}
    return {"coordinates_are": "WGS 84: longitude, latitude in degrees, elevation in metres of the plant grid"}


def out_geometry(geometry: BaseGeometry, georeference: Georeference | None) -> BaseGeometry:
    """A geometry as it goes out: in WGS 84 where the site has a georeference."""
    return geometry if georeference is None else georeference.wgs84_geometry(geometry)


@lru_cache(maxsize=16)
def _to_wgs84(epsg: int) -> Transformer:
    try:
        system = CRS.from_epsg(epsg)
        if not system.is_projected:
            raise GeoreferenceRefused(f"EPSG:{epsg} ({system.name}) is not a system of metres on a plane")
        return Transformer.from_crs(system, CRS.from_epsg(4326), always_xy=True)
    except (CRSError, ProjError) as exc:
        raise GeoreferenceRefused(f"no coordinate system EPSG:{epsg} is known") from exc
