"""ISO 5167-1:2022, mass flow of an incompressible fluid, at diameter ratio 0, as coded in the PyPI package `fluids`."""

import pytest
from fluids.flow_meter import flow_meter_discharge

from registry.exposure.release import liquid_release_rate


@pytest.mark.parametrize(
    ("density", "drop_pa", "expected"),
    [(998.2, 1e6, 2.140639e-02), (602.96, 901_370.0, 1.579540e-02), (492.363, 850_749.5, 1.386686e-02)],
)
def test_liquid_through_one_millimetre(density: float, drop_pa: float, expected: float) -> None:
    found = float(liquid_release_rate(1.0, 101_325.0 + drop_pa, 101_325.0, density, 0.61))
    assert found == pytest.approx(expected, rel=1e-6)
    standard = flow_meter_discharge(
        D=1e3, Do=1e-3, P1=101_325.0 + drop_pa, P2=101_325.0, rho=density, C=0.61, expansibility=1.0
    )
    assert found == pytest.approx(standard, rel=1e-6)


def test_nothing_leaves_a_vacuum() -> None:
    assert float(liquid_release_rate(1.0, 0.0, 101_325.0, 998.2, 0.61)) == 0.0
