"""Torque and bolt load, what an adaptor does to a wrench, and the units in which the trade says them."""

import math
from itertools import pairwise

import numpy as np
import pint
import pytest

from registry.makeup.threads import THREADS, thread_of
from registry.makeup.torque import (
    bolt_load_n,
    load_band,
    pass_torques_n_m,
    target_torque_n_m,
    wrench_setting_n_m,
)
from registry.units import converted

REGISTRY = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("suffix", "name"),
    [("lbf_ft", "force_pound * foot"), ("lbf_in", "force_pound * inch"), ("kgf_m", "force_kilogram * metre")],
)
@pytest.mark.parametrize("torque", [0.0, 1.0, 110.0, 38_000.0])
def test_torque_units_are_those_of_pint(torque: float, suffix: str, name: str) -> None:
    newton_metres = REGISTRY.Quantity(torque, name).to("newton * metre").magnitude
    assert converted(torque, suffix, "nm", "torque") == pytest.approx(newton_metres, rel=1e-12)
    assert converted(newton_metres, "nm", suffix, "torque") == pytest.approx(torque, rel=1e-12)


def test_110_pounds_feet_are_149_1_newton_metres_and_150_are_110_6() -> None:
    assert converted(110.0, "lbf_ft", "nm", "torque") == pytest.approx(149.1, abs=0.05)
    assert converted(150.0, "nm", "lbf_ft", "torque") == pytest.approx(110.6, abs=0.05)


@pytest.mark.parametrize(
    ("nut_factor", "diameter_mm", "load_kn", "torque_n_m"),
    [(0.2, 20.0, 100.0, 400.0), (0.16, 19.05, 67.15, 204.673), (0.15, 12.7, 28.0, 53.34)],
)
def test_torque_and_load_are_each_other_s_inverse(
    nut_factor: float, diameter_mm: float, load_kn: float, torque_n_m: float
) -> None:
    found = target_torque_n_m(nut_factor, diameter_mm * 1e-3, load_kn * 1e3)
    assert found == pytest.approx(torque_n_m, abs=0.5e-3)
    assert bolt_load_n(found, nut_factor, diameter_mm * 1e-3) == pytest.approx(load_kn * 1e3, rel=1e-12)


def test_target_torque_has_the_dimension_of_a_torque() -> None:
    of_pint = 0.2 * REGISTRY.Quantity(0.75, "inch") * REGISTRY.Quantity(15_095, "force_pound")
    ours = target_torque_n_m(0.2, 0.75 * 0.0254, converted(15_095.0, "lbf_ft", "nm", "torque") / 0.3048)
    assert ours == pytest.approx(of_pint.to("newton * metre").magnitude, rel=1e-12)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_what_is_not_a_positive_number_is_refused(bad: float) -> None:
    for at in range(3):
        values = [0.2, 0.02, 1e5]
        values[at] = bad
        with pytest.raises(ValueError, match="must be a positive number"):
            target_torque_n_m(*values)
        with pytest.raises(ValueError, match="must be a positive number"):
            bolt_load_n(*values)
    with pytest.raises(ValueError, match="must be a positive number"):
        wrench_setting_n_m(bad, 0.4, 0.05, 0.0)


@pytest.mark.parametrize("scatter", [-0.1, 1.0, math.nan])
def test_a_scatter_beyond_the_load_itself_is_refused(scatter: float) -> None:
    with pytest.raises(ValueError, match="scatter"):
        load_band(1e5, scatter)


@pytest.mark.parametrize("parts", [(), (0.3, 0.7), (0.7, 0.3, 1.0), (0.3, 0.3, 1.0), (0.0, 1.0), (0.5, 1.2)])
def test_passes_that_do_not_rise_to_the_target_are_refused(parts: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="must rise"):
        pass_torques_n_m(100.0, parts)


# ---------------------------------------------------------------- adaptors


def torque_at_the_nut(setting_n_m: float, wrench_m: float, adaptor_m: float, angle_deg: float) -> float:
    """By vectors: the hand's force at the grip, crossed with the arm from the nut to the grip."""
    grip = np.array([-wrench_m, 0.0])
    nut = adaptor_m * np.array([math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))])
    force = np.array([0.0, -setting_n_m / wrench_m])  # so that the wrench, about its own drive, shows the setting
    arm = grip - nut
    return float(arm[0] * force[1] - arm[1] * force[0])


@pytest.mark.parametrize("angle_deg", [0.0, 30.0, 45.0, 90.0, 120.0, 180.0, -60.0])
@pytest.mark.parametrize("adaptor_m", [0.0, 0.05, 0.3])
def test_moments_about_the_nut_give_it_the_target(adaptor_m: float, angle_deg: float) -> None:
    setting = wrench_setting_n_m(100.0, 0.4, adaptor_m, angle_deg)
    assert torque_at_the_nut(setting, 0.4, adaptor_m, angle_deg) == pytest.approx(100.0, rel=1e-12)


def test_a_right_angle_needs_no_correction_and_in_line_needs_the_most() -> None:
    settings = [wrench_setting_n_m(100.0, 0.4, 0.05, angle) for angle in range(0, 181, 15)]
    assert settings[6] == pytest.approx(100.0, rel=1e-12)
    assert settings == sorted(settings)
    assert settings[0] < 100.0 < settings[-1]


@pytest.mark.parametrize(
    ("wrench_m", "adaptor_m", "angle_deg"),
    [
        (0.4, -0.1, 0.0),
        (0.4, 0.4, 180.0),
        (0.4, 0.5, 180.0),
        (0.0, 0.1, 0.0),
        (0.4, math.inf, 0.0),
        (0.4, 0.1, math.nan),
    ],
)
def test_an_adaptor_that_cannot_be_is_refused(wrench_m: float, adaptor_m: float, angle_deg: float) -> None:
    with pytest.raises(ValueError, match=r"must be|reaches back"):
        wrench_setting_n_m(100.0, wrench_m, adaptor_m, angle_deg)


# ---------------------------------------------------------------- threads


def test_no_two_threads_can_be_taken_for_each_other() -> None:
    diameters = sorted(thread.diameter_mm for thread in THREADS)
    assert min(after - before for before, after in pairwise(diameters)) > 2 * 0.06


@pytest.mark.parametrize("places", [1, 2, 3])
def test_a_diameter_rounded_as_people_round_is_the_same_thread(places: int) -> None:
    for thread in THREADS:
        assert thread_of(round(thread.diameter_mm, places)) == thread


def test_the_root_area_is_the_smaller_one() -> None:
    for thread in THREADS:
        assert thread.root_area_mm2 < thread.stress_area_mm2 < math.pi / 4 * thread.diameter_mm**2


@pytest.mark.parametrize("diameter_mm", [0.0, -20.0, 21.0, 15.0, math.nan, math.inf])
def test_what_is_no_thread_is_none(diameter_mm: float) -> None:
    assert thread_of(diameter_mm) is None
