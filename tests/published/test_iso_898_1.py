"""ISO 898-1:2013, Mechanical properties of fasteners, nominal stress areas of coarse threads as it prints them, mm².

M10, M12, M16, M20, M24, M30 and M36 agree with public copies; the others, and clause 9.1.6.1 (the area is that of a
circle midway between the pitch diameter d2 and the root diameter d3), are from memory. So are the root areas, as tables
to DIN 13 print them.
"""

import math

import pytest

from registry.makeup.threads import root_area_metric_mm2, stress_area_metric_mm2, thread_of

# Diameter, pitch, area as printed, its places.
STRESS_AREAS = [
    (10, 1.5, 58.0, 1), (12, 1.75, 84.3, 1), (14, 2.0, 115, 0), (16, 2.0, 157, 0), (18, 2.5, 192, 0), (20, 2.5, 245, 0),
    (22, 2.5, 303, 0), (24, 3.0, 353, 0), (27, 3.0, 459, 0), (30, 3.5, 561, 0), (33, 3.5, 694, 0), (36, 4.0, 817, 0),
    (39, 4.0, 976, 0),
]  # fmt: skip
ROOT_AREAS = [
    (10, 1.5, 52.3, 1),
    (16, 2.0, 144, 0),
    (20, 2.5, 225, 0),
    (24, 3.0, 324, 0),
    (30, 3.5, 519, 0),
    (36, 4.0, 759, 0),
]


@pytest.mark.parametrize(("diameter_mm", "pitch_mm", "area_mm2", "places"), STRESS_AREAS)
def test_stress_areas(diameter_mm: float, pitch_mm: float, area_mm2: float, places: int) -> None:
    assert stress_area_metric_mm2(diameter_mm, pitch_mm) == pytest.approx(area_mm2, abs=0.5 * 10**-places)


@pytest.mark.parametrize(("diameter_mm", "pitch_mm", "area_mm2", "places"), ROOT_AREAS)
def test_root_areas(diameter_mm: float, pitch_mm: float, area_mm2: float, places: int) -> None:
    assert root_area_metric_mm2(diameter_mm, pitch_mm) == pytest.approx(area_mm2, abs=0.5 * 10**-places)


@pytest.mark.parametrize(("diameter_mm", "pitch_mm"), [row[:2] for row in STRESS_AREAS])
def test_the_stress_area_is_that_of_the_mean_of_pitch_and_root_diameter(diameter_mm: float, pitch_mm: float) -> None:
    # d2 = d - 0.75 H, with the height of the sharp thread H = P·√3/2 (ISO 68-1, from memory).
    pitch_diameter_mm = diameter_mm - 0.75 * math.sqrt(3) / 2 * pitch_mm
    root_diameter_mm = math.sqrt(root_area_metric_mm2(diameter_mm, pitch_mm) * 4 / math.pi)
    of_the_mean_mm2 = math.pi / 4 * ((pitch_diameter_mm + root_diameter_mm) / 2) ** 2
    assert stress_area_metric_mm2(diameter_mm, pitch_mm) == pytest.approx(of_the_mean_mm2, rel=2e-5)


@pytest.mark.parametrize(("diameter_mm", "pitch_mm"), [row[:2] for row in STRESS_AREAS])
def test_a_bolt_s_diameter_means_its_coarse_thread(diameter_mm: float, pitch_mm: float) -> None:
    thread = thread_of(diameter_mm)
    assert thread is not None
    assert thread.name == f"M{diameter_mm}"
    assert thread.stress_area_mm2 == stress_area_metric_mm2(diameter_mm, pitch_mm)
