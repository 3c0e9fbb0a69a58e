"""The table of fluids and what would come out of a joint."""

import math

import chemicals
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.exposure.fluid import FluidUnknown, fluid_columns, fluid_facts, fluid_issues, outflow
from registry.policy.document import default_policy

FLUIDS = fluid_facts()


@pytest.mark.parametrize("name", [row.name for row in FLUIDS.values() if not math.isnan(row.critical_temperature_k)])
def test_a_fluid_that_boils_has_everything_that_a_gas_needs(name: str) -> None:
    row = FLUIDS[name]
    assert row.molar_mass_g_mol > 1
    assert 1.0 < row.gamma < 1.7
    assert row.critical_pressure_pa > 1e6
    assert -0.3 < row.acentric_factor < 1.0


@pytest.mark.parametrize("name", list(FLUIDS))
def test_every_fluid_has_a_density_ratings_and_sources(name: str) -> None:
    row = FLUIDS[name]
    assert 50 < row.liquid_density_kg_m3 < 2000
    assert all(0 <= rating <= 4 for rating in (row.health, row.flammability, row.instability))
    assert row.source
    assert row.ratings_source


# Air is a mixture, which that package does not hold.
PURE = [row.name for row in FLUIDS.values() if row.cas and not math.isnan(row.acentric_factor) and row.name != "air"]


@pytest.mark.parametrize("name", PURE)
def test_constants_are_those_of_the_chemicals_package(name: str) -> None:
    row = FLUIDS[name]
    assert row.molar_mass_g_mol == pytest.approx(chemicals.MW(row.cas), abs=1e-3)
    assert row.critical_temperature_k == pytest.approx(chemicals.Tc(row.cas), rel=1e-3)
    assert row.critical_pressure_pa == pytest.approx(chemicals.Pc(row.cas), rel=1e-3)
    assert row.acentric_factor == pytest.approx(chemicals.omega(row.cas), abs=1e-3)


def test_the_shipped_services_are_all_of_known_fluids() -> None:
    assert fluid_issues(default_policy()) == ()


def test_ratings_of_the_shipped_policy_are_those_of_its_fluids() -> None:
    for service in default_policy().services:
        fluid = FLUIDS[service.treated_as]
        if service.name != fluid.name:
            continue
        reactivity = max(fluid.instability, 3) if fluid.special == "OX" else fluid.instability
        expected = {"health": fluid.health, "flammability": fluid.flammability, "reactivity": reactivity}
        assert service.ratings == expected, service.name


def test_an_unknown_fluid_is_refused_by_name() -> None:
    with pytest.raises(FluidUnknown, match="unobtainium") as caught:
        fluid_columns([("hydrogen", "by temperature"), ("unobtainium", "gas")])
    assert [issue.value for issue in caught.value.issues] == ["unobtainium"]


@given(
    name=st.sampled_from([name for name in FLUIDS]),
    degc=st.floats(-250.0, 700.0),
    low=st.floats(-1.01325, 1000.0),
    more=st.floats(0.0, 500.0),
)
def test_more_pressure_never_lets_less_out_whatever_the_phase(name: str, degc: float, low: float, more: float) -> None:
    fluids = fluid_columns([(name, "by temperature")] * 2)
    found = outflow(fluids, 1.0, np.array([low, low + more]), np.array([degc, degc]), 0.61, 101_325.0)
    assert np.isfinite(found.release_kg_s).all()
    assert found.release_kg_s[1] >= found.release_kg_s[0] * (1 - 1e-12)


def test_a_stated_phase_is_taken_as_stated() -> None:
    steam, condensate = fluid_columns([("water", "gas")]), fluid_columns([("water", "liquid")])
    cold = np.array([20.0])
    assert not outflow(steam, 1.0, np.array([10.0]), cold, 0.61, 101_325.0).liquid[0]
    assert outflow(condensate, 1.0, np.array([0.1]), np.array([300.0]), 0.61, 101_325.0).liquid[0]


@pytest.mark.parametrize("barg", [-1.01325, -0.5, 0.0])
def test_nothing_leaves_at_or_below_the_atmosphere(barg: float) -> None:
    fluids = fluid_columns([("hydrogen", "by temperature")])
    assert outflow(fluids, 1.0, np.array([barg]), np.array([20.0]), 0.61, 101_325.0).release_kg_s[0] == 0.0
