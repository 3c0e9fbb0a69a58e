"""A public worked example of a wrench with an adaptor: 80 N·m wanted, L = 40, E = 5 in line, set 71.11 N·m.

The example is a page's, not a standard's, and was read once; the further values are the same sum done by hand. Other
public pages correct at a right angle and not in line; moments about the nut show that they err, and the last test holds
that we do not follow them.
"""

import pytest

from registry.makeup.torque import wrench_setting_n_m


def test_the_worked_example() -> None:
    assert wrench_setting_n_m(80.0, 0.40, 0.05, 0.0) == pytest.approx(71.11, abs=0.005)


@pytest.mark.parametrize(("angle_deg", "setting_n_m"), [(0, 88.889), (45, 91.879), (90, 100.0), (180, 114.286)])
def test_the_angle_counts_from_straight_ahead(angle_deg: float, setting_n_m: float) -> None:
    assert wrench_setting_n_m(100.0, 0.4, 0.05, angle_deg) == pytest.approx(setting_n_m, abs=0.5e-3)


def test_110_pounds_feet_through_60_mm_on_a_600_mm_wrench() -> None:
    assert wrench_setting_n_m(149.14, 0.6, 0.06, 0.0) == pytest.approx(135.582, abs=0.5e-3)


def test_the_wrong_way_round_is_not_ours() -> None:
    wrong_in_line, wrong_at_right_angle = 80.0, 71.11
    assert wrench_setting_n_m(80.0, 0.40, 0.05, 0.0) != pytest.approx(wrong_in_line, rel=0.05)
    assert wrench_setting_n_m(80.0, 0.40, 0.05, 90.0) != pytest.approx(wrong_at_right_angle, rel=0.05)
    assert wrench_setting_n_m(80.0, 0.40, 0.05, 90.0) == pytest.approx(80.0, rel=1e-12)
