"""ASME PCC-1-2013, Guidelines for pressure boundary bolted flange joint assembly, over areas of ASME B1.1-2003 threads.

Table 1: target torque in ft·lb at 50 ksi on the root area, uncoated and coated bolts, coarse thread to 1 in and
8-pitch above; read on a stored copy of the page. The table gives torques and no nut factor: what is checked is that one
nut factor stands behind each column, within the rounding of its torques and its slow fall with size.
Metric entries: the uncoated column of Table 1M of the earlier edition, those that a stored copy lets one read.
Orders of the legacy cross pattern, and its increments of torque, are from memory (orders for 20 and 24 bolts with fair
confidence only). Stress and root areas of inch threads are the figures of common tables, from memory.
"""

import math

import pytest

from registry.makeup.bolting import cross_pattern
from registry.makeup.instructions import instructions
from registry.makeup.targets import TorqueTarget
from registry.makeup.threads import (
    root_area_metric_mm2,
    root_area_unified_in2,
    stress_area_unified_in2,
    thread_of,
)
from registry.makeup.torque import bolt_load_n, pass_torques_n_m, target_torque_n_m
from registry.units import INCH_M, POUND_FORCE_N, converted
from tests.unit.some_make_ups import shipped

# Size in, threads per inch, uncoated, coated.
TABLE_1 = [
    (0.5, 13, 60, 45), (0.625, 11, 120, 90), (0.75, 10, 210, 160), (0.875, 9, 350, 250), (1.0, 8, 500, 400),
    (1.125, 8, 750, 550), (1.25, 8, 1050, 800), (1.375, 8, 1400, 1050), (1.5, 8, 1800, 1400), (1.625, 8, 2350, 1800),
    (1.75, 8, 2950, 2300), (1.875, 8, 3650, 2800), (2.0, 8, 4500, 3400), (2.25, 8, 6500, 4900), (2.5, 8, 9000, 6800),
    (2.75, 8, 12000, 9100), (3.0, 8, 15700, 11900), (3.25, 8, 20100, 15300), (3.5, 8, 25300, 19100),
    (3.75, 8, 31200, 23600), (4.0, 8, 38000, 28800),
]  # fmt: skip
COLUMNS = {"uncoated": (2, 0.197, 0.229), "coated": (3, 0.149, 0.174)}
STRESS_PSI = 50_000.0

# Diameter and pitch in mm, torque in N·m, uncoated.
TABLE_1M = [
    (16, 2.0, 160), (36, 4.0, 2050), (39, 4.0, 2650), (42, 4.5, 3350), (45, 4.5, 4200), (48, 5.0, 5100),
    (64, 6.0, 12400), (70, 6.0, 16100), (76, 6.0, 20900),
]  # fmt: skip

ORDERS = {
    4: "1-3-2-4",
    8: "1-5-3-7 2-6-4-8",
    12: "1-7-4-10 2-8-5-11 3-9-6-12",
    16: "1-9-5-13 3-11-7-15 2-10-6-14 4-12-8-16",
    20: "1-11-6-16 3-13-8-18 5-15-10-20 2-12-7-17 4-14-9-19",
    24: "1-13-7-19 4-16-10-22 2-14-8-20 5-17-11-23 3-15-9-21 6-18-12-24",
}


def implied_nut_factor(row: tuple[float, int, int, int], column: int) -> float:
    diameter_in, threads_per_inch = row[0], row[1]
    load_n = STRESS_PSI * root_area_unified_in2(diameter_in, threads_per_inch) * POUND_FORCE_N
    torque_n_m = converted(float(row[column]), "lbf_ft", "nm", "torque")
    # With a nut factor of one the torque would be D·F.
    return torque_n_m / target_torque_n_m(1.0, diameter_in * INCH_M, load_n)


def test_the_table_has_21_sizes() -> None:
    assert len(TABLE_1) == 21


@pytest.mark.parametrize("column", COLUMNS)
@pytest.mark.parametrize("row", TABLE_1, ids=lambda row: f"{row[0]} in")
def test_the_nut_factor_behind_each_torque_is_within_its_column_s_range(
    row: tuple[float, int, int, int], column: str
) -> None:
    at, low, high = COLUMNS[column]
    assert low - 0.0005 <= implied_nut_factor(row, at) <= high + 0.0005


@pytest.mark.parametrize("column", COLUMNS)
def test_one_nut_factor_gives_every_torque_of_a_column_within_8_percent_and_every_load_within_9(column: str) -> None:
    at, low, high = COLUMNS[column]
    nut_factor = math.sqrt(low * high)  # the one whose worst error is least
    for row in TABLE_1:
        load_n = STRESS_PSI * root_area_unified_in2(row[0], row[1]) * POUND_FORCE_N
        torque_lbf_ft = converted(target_torque_n_m(nut_factor, row[0] * INCH_M, load_n), "nm", "lbf_ft", "torque")
        assert torque_lbf_ft == pytest.approx(row[at], rel=0.08)
        back_n = bolt_load_n(converted(float(row[at]), "lbf_ft", "nm", "torque"), nut_factor, row[0] * INCH_M)
        assert back_n == pytest.approx(load_n, rel=0.09)


def test_uncoated_bolts_need_more_torque_than_coated_ones() -> None:
    for row in TABLE_1:
        assert implied_nut_factor(row, 3) < implied_nut_factor(row, 2)


@pytest.mark.parametrize("row", TABLE_1M, ids=lambda row: f"M{row[0]}")
def test_metric_torques_have_a_nut_factor_of_the_same_range(row: tuple[int, float, int]) -> None:
    diameter_mm, pitch_mm, torque_n_m = row
    # 345 MPa, as 50 ksi is written in the metric table.
    load_n = 345.0 * root_area_metric_mm2(diameter_mm, pitch_mm)
    assert 0.1965 <= torque_n_m / target_torque_n_m(1.0, diameter_mm * 1e-3, load_n) <= 0.2295


@pytest.mark.parametrize("row", TABLE_1, ids=lambda row: f"{row[0]} in")
def test_the_shipped_flange_procedure_lies_13_percent_below_to_2_above_the_uncoated_column(
    row: tuple[float, int, int, int],
) -> None:
    sheet = instructions(shipped("flanged-torque"), "first", {"bolt-size": round(row[0] * INCH_M * 1e3, 2)})
    assert isinstance(sheet.target, TorqueTarget)
    assert 0.87 <= converted(sheet.target.n_m, "nm", "lbf_ft", "torque") / row[2] <= 1.02


# ASME B1.1-2003: the areas.


def test_stress_areas_of_inch_threads() -> None:
    printed = {(0.5, 13): (0.1419, 4), (0.625, 11): (0.226, 3), (0.875, 9): (0.462, 3), (1.0, 8): (0.606, 3),
               (1.25, 8): (1.000, 3), (1.5, 8): (1.492, 3), (1.75, 8): (2.08, 2), (2.0, 8): (2.77, 2)}  # fmt: skip
    for (diameter_in, threads_per_inch), (area_in2, places) in printed.items():
        assert stress_area_unified_in2(diameter_in, threads_per_inch) == pytest.approx(area_in2, abs=0.5 * 10**-places)


def test_root_areas_of_inch_threads_within_the_three_thousandths_by_which_tables_differ() -> None:
    printed = [0.126, 0.202, 0.302, 0.419, 0.551, 0.728, 0.929, 1.155, 1.405, 1.680, 1.980, 2.304, 2.652, 3.423, 4.292,
               5.259, 6.324, 7.487, 8.749, 10.108, 11.566]  # fmt: skip
    for (diameter_in, threads_per_inch, *_), area_in2 in zip(TABLE_1, printed, strict=True):
        assert root_area_unified_in2(diameter_in, threads_per_inch) == pytest.approx(area_in2, rel=0.003)


def test_every_size_of_the_tables_is_a_thread_that_we_know() -> None:
    for diameter_in, threads_per_inch, *_ in TABLE_1:
        thread = thread_of(diameter_in * INCH_M * 1e3)
        assert thread is not None
        assert thread.name.endswith(f"-{threads_per_inch}")
        area_mm2 = root_area_unified_in2(diameter_in, threads_per_inch) * (INCH_M * 1e3) ** 2
        assert thread.root_area_mm2 == pytest.approx(area_mm2)
    for diameter_mm, pitch_mm, _ in TABLE_1M:
        thread = thread_of(diameter_mm)
        assert thread is not None
        assert thread.root_area_mm2 == pytest.approx(root_area_metric_mm2(diameter_mm, pitch_mm))


# The legacy cross pattern.


@pytest.mark.parametrize(("bolts", "order"), ORDERS.items())
def test_the_cross_pattern_is_the_one_remembered_of_the_standard(bolts: int, order: str) -> None:
    expected = tuple(tuple(int(bolt) for bolt in group.split("-")) for group in order.split())
    assert cross_pattern(bolts) == expected


def test_shipped_passes_lie_within_the_increments_of_the_legacy_method() -> None:
    bolting = shipped("flanged-torque").bolting
    assert bolting is not None
    first, second, last = pass_torques_n_m(100.0, bolting.passes)
    assert 20.0 <= first <= 30.0
    assert 50.0 <= second <= 70.0
    assert last == 100.0
