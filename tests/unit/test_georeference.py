"""From the plant grid to WGS 84."""

import numpy as np
import pytest
from shapely import LineString, Polygon

from registry.plant.georeference import Georeference, GeoreferenceRefused, coordinates_member, out_geometry

# A plant whose origin lies at 500 km east, 5700 km north of UTM zone 31, its north turned by 90 degrees.
TURNED = Georeference.checked(32631, [0, -1, 1, 0, 500_000, 5_700_000])


def test_the_central_meridian_of_utm_zone_31_is_three_degrees_east() -> None:
    longitude, latitude = TURNED.wgs84(np.array([[0.0, 0.0]]))[0]
    assert longitude == pytest.approx(3.0, abs=1e-9)
    assert latitude == pytest.approx(51.4511822, abs=1e-6)


def test_the_affine_map_turns_the_grid_and_keeps_elevations() -> None:
    line = TURNED.wgs84_geometry(LineString([(0, 0, 1.5), (100, 0, 7.0)]))
    (west, south, low), (east, north, high) = line.coords
    assert (low, high) == (1.5, 7.0)
    # East on the grid is north in the world: 100 m are about 0.0009 degrees of latitude.
    assert east == pytest.approx(west, abs=1e-9)
    assert north - south == pytest.approx(100 / 111_240, rel=1e-3)


def test_outlines_go_anticlockwise_as_rfc_7946_wants_them() -> None:
    mirrored = Georeference.checked(32631, [-1, 0, 0, 1, 500_000, 5_700_000])
    outline = mirrored.wgs84_geometry(Polygon([(0, 0), (10, 0), (10, 10), (0, 10)]))
    assert isinstance(outline, Polygon)
    assert outline.exterior.is_ccw


def test_without_a_georeference_positions_go_out_as_they_are_and_say_so() -> None:
    line = LineString([(0, 0), (1, 1)])
    assert out_geometry(line, None) is line
    assert "plant grid" in coordinates_member(None)["coordinates_are"]
    assert "WGS 84" in coordinates_member(TURNED)["coordinates_are"]


@pytest.mark.parametrize(
    ("epsg", "six", "said"),
    [
        (32631, [1, 0, 0, 1, 0], "six finite numbers"),
        (32631, [1, 0, 0, 1, float("nan"), 0], "six finite numbers"),
        (32631, [1, 2, 2, 4, 0, 0], "flattens the plant"),
        (999_999, [1, 0, 0, 1, 0, 0], "no coordinate system"),
        (4326, [1, 0, 0, 1, 0, 0], "not a system of metres"),
        (32631, [1, 0, 0, 1, 1e12, 1e12], "lies outside"),
    ],
)
def test_a_georeference_that_cannot_be_used_is_refused(epsg: int, six: list[float], said: str) -> None:
    with pytest.raises(GeoreferenceRefused, match=said):
        Georeference.checked(epsg, six)
