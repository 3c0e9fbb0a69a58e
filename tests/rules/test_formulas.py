"""A formula says its equation, its units, where it comes from and what it gives; what it cites is checked."""

import ast
import re

import numpy as np
import numpy.typing as npt
import pytest

from tests.rules.docstrings import OWN, faults_of, formulas, is_the_case, references_of
from tests.rules.project import read, tracked_files

FORMULAS = dict(formulas())


def test_there_are_formulas_to_judge() -> None:
    assert len(FORMULAS) > 20


@pytest.mark.parametrize("name", FORMULAS)
def test_a_formula_s_docstring_is_whole(name: str) -> None:
    assert not list(faults_of(FORMULAS[name]))


@pytest.mark.parametrize("name", [name for name, function in FORMULAS.items() if OWN not in references_of(function)])
def test_a_cited_formula_has_a_case_named_after_its_source(name: str) -> None:
    function = FORMULAS[name]
    published = [file for file in tracked_files() if re.match(r"tests/published/test_\w+\.py", file)]
    assert any(is_the_case(function, read(file)) for file in published), (
        f"no file of tests/published uses {function.__name__} and names its source: {references_of(function)[:120]}"
    )


def test_no_case_of_tests_published_is_without_a_source() -> None:
    files = [file for file in tracked_files() if re.match(r"tests/published/test_\w+\.py", file)]
    assert not [
        file for file in files if not re.search(r"\d", (ast.get_docstring(ast.parse(read(file))) or "").splitlines()[0])
    ]


def _whole(speed: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Kinetic energy of a kilogram.

    e = v ** 2 / 2

    Parameters
    ----------
    speed : array_like, shape (n,) [m/s]

    Returns
    -------
    ndarray, shape (n,) [J]

    References
    ----------
    ISO 80000-4:2019, item 4-28.2.

    Examples
    --------
    >>> 2.0 ** 2 / 2
    2.0
    """
    return np.asarray(speed, np.float64) ** 2 / 2


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("Kinetic", "Kinetic", None),
        ("e = v ** 2 / 2", "half of the square", "gives no equation before its parameters"),
        ("    speed : ", "    velocity : ", "documents ['velocity'], its signature has ['speed']"),
        (" [m/s]", "", "gives no unit for speed"),
        ("(n,) [J]", "(n,)", "gives no unit for what it returns"),
        ("References\n    ----------\n    ISO 80000-4:2019, item 4-28.2.\n", "", "has no section References"),
        (
            "ISO 80000-4:2019, item 4-28.2.",
            "Well known.",
            "cites without edition, clause or year, and is not marked 'Own method'",
        ),
        (">>> 2.0 ** 2 / 2\n    2.0", "Two squared.", "has an Examples section without an example"),
    ],
)
def test_a_docstring_that_is_not_whole_is_seen(
    monkeypatch: pytest.MonkeyPatch, old: str, new: str, fault: str | None
) -> None:
    assert _whole.__doc__ is not None
    assert old in _whole.__doc__
    monkeypatch.setattr(_whole, "__doc__", _whole.__doc__.replace(old, new))
    found = list(faults_of(_whole))
    assert found == [] if fault is None else fault in found


@pytest.mark.parametrize(
    ("text", "fits"),
    [
        ('"""ISO 80000-4:2019, the printed example."""\nassert _whole(2.0) == 2.0', True),
        ('"""ISO 80000-4:2019, the printed example."""\n', False),
        ('"""Some other source, 2019."""\nassert _whole(2.0) == 2.0', False),
    ],
)
def test_a_citation_without_its_case_is_seen(text: str, fits: bool) -> None:
    assert is_the_case(_whole, text) is fits
