"""Energy Institute, Guidelines for the avoidance of vibration induced fatigue failure in process pipework, 2008.

Second edition: the lines of the measurement-based assessment, mm/s RMS. Constants from two secondary
sources that agree; the range 1 to 300 Hz is from memory.
"""

import numpy as np
import pytest

from registry.exposure.vibration import concern_velocity, problem_velocity

FREQUENCY_HZ = [1, 5, 10, 30, 50, 100, 200, 300]


def test_concern_line() -> None:
    expected = [1.6815, 3.5827, 4.9624, 8.3166, 10.5735, 14.6456, 20.2859, 24.5447]
    np.testing.assert_allclose(concern_velocity(FREQUENCY_HZ), expected, atol=0.5e-4, rtol=0)


def test_problem_line() -> None:
    expected = [7.8995, 17.0965, 23.8406, 40.3833, 51.5974, 71.9512, 100.334, 121.877]
    np.testing.assert_allclose(problem_velocity(FREQUENCY_HZ), expected, atol=0.5e-3, rtol=0)


def test_ratio_of_the_lines() -> None:
    ratio = problem_velocity([1, 300]) / concern_velocity([1, 300])
    np.testing.assert_allclose(ratio, [4.70, 4.97], atol=0.005, rtol=0)


@pytest.mark.parametrize("line", [concern_velocity, problem_velocity])
def test_outside_one_to_three_hundred_hertz_there_is_no_line(line: object) -> None:
    assert callable(line)
    outside = line([0.0, 0.99, 300.01, np.inf, -5.0, np.nan])
    assert np.isnan(outside).all()
    assert np.isfinite(line([1.0, 300.0])).all()
