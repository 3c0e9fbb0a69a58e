"""Units in column names and headings."""

import polars as pl
import pytest

from registry.units import converted, suffixes, unit_at_end, unit_spelling


@pytest.mark.parametrize(
    ("written", "suffix"),
    [
        ("psig", "psig"), ("PSIG", "psig"), ("bar(g)", "barg"), ("bar g", "barg"), ("bar (a)", "bara"),
        ("bar abs", "bara"),
        ("kg/cm2 g", "kg_cm2g"), ("kg/cm²(g)", "kg_cm2g"), ("kgf/cm2g", "kg_cm2g"),
        ("kPa(a)", "kpaa"), ("MPag", "mpag"),
        ("°C", "degc"), ("deg C", "degc"), ("deg. F", "degf"), ("F", "degf"), ("K", "k"),
        ("in/s pk", "in_s_pk"), ("in/s peak", "in_s_pk"), ("mm/s RMS", "mm_s"), ("mm/s", "mm_s"), ("ips", "in_s"),
        ("mm/s 0-pk", "mm_s_pk"), ("rpm", "cpm"), ("CPM", "cpm"), ("Hz", "hz"), ("ft", "ft"),
        ("feet", "ft"), ("DN", "mm"),
        ("N·m", "nm"), ("ft-lbf", "lbf_ft"), ("yr", "per_year"),
    ],
)  # fmt: skip
def test_units_are_read_however_a_heading_spells_them(written: str, suffix: str) -> None:
    assert unit_spelling(written) == suffix


def test_the_longest_unit_at_the_end_of_a_name_counts() -> None:
    stem, unit = unit_at_end("vibration_in_s_pk", "velocity") or ("", None)
    assert (stem, unit and unit.suffix) == ("vibration", "in_s_pk")
    stem, unit = unit_at_end("east_us_ft", "length") or ("", None)
    assert (stem, unit and unit.suffix) == ("east", "us_ft")


def test_bar_alone_is_no_unit_because_it_does_not_say_gauge() -> None:
    assert unit_at_end("pressure_bar", "pressure") is None
    assert "bar" not in suffixes("pressure")
    assert suffixes("pressure")[0] == "barg"


def test_units_of_two_quantities_do_not_convert() -> None:
    with pytest.raises(ValueError, match="does not convert"):
        converted(1.0, "psig", "degc")
    with pytest.raises(ValueError, match="does not convert"):
        converted(1.0, "furlong", "m")


def test_a_temperature_difference_has_no_offset() -> None:
    assert converted(36.0, "degf", "degc", "temperature_difference") == pytest.approx(20.0)
    assert converted(36.0, "degf", "degc", "temperature") == pytest.approx(2.2222, abs=5e-5)


def test_the_same_unit_gives_the_very_same_values() -> None:
    given = pl.Series([0.1, None, 3.0])
    assert converted(given, "barg", "barg") is given


def test_nulls_stay_null_in_a_series() -> None:
    assert converted(pl.Series([None, 10.0]), "ft", "m").to_list() == [None, pytest.approx(3.048)]
