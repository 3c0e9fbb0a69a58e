"""Lint, types and layout are judged in the same run as the tests, so that one command judges all."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.rules.project import PROJECT, modules, read, tracked_files

IGNORE = re.compile(r"#\s*(noqa|type:\s*ignore|pyright:\s*ignore|pragma:)(.*)$")
# A code in brackets or after a colon, and then words of our own.
REASONED = re.compile(r"^(:\s*[A-Z]+\d+(,\s*[A-Z]+\d+)*|\[[\w, -]+\])?[\s#:—–-]+\w+(\s+\S+)+")


def test_ruff_finds_nothing() -> None:
    _passes(sys.executable, "-m", "ruff", "check", "--no-cache", ".")


def test_the_code_is_formatted() -> None:
    _passes(sys.executable, "-m", "ruff", "format", "--no-cache", "--check", "--diff", "--quiet", ".")


def test_pyright_finds_nothing_in_strict_mode() -> None:
    _passes(sys.executable, "-m", "pyright", "--pythonpath", sys.executable)


def test_ruff_and_pyright_can_fail(tmp_path: Path) -> None:
    bad = tmp_path / "registry" / "stray.py"
    bad.parent.mkdir()
    bad.write_text("import psycopg\n\n\ndef f(x):\n    return x.y\n")
    (tmp_path / "pyproject.toml").write_text(read("pyproject.toml"))
    ruff = subprocess.run(
        [sys.executable, "-m", "ruff", "check", "--no-cache", "."],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert "TID251" in ruff.stdout
    pyright = subprocess.run(
        [sys.executable, "-m", "pyright", "registry"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert "reportMissingParameterType" in pyright.stdout


def test_every_ignore_gives_its_reason_on_the_line() -> None:
    assert not [
        f"{name}:{number}: {line.strip()}"
        for name in (*modules("registry", "dashboards", "migrations", "tests", "deploy"),)
        for number, line in enumerate(read(name).splitlines(), start=1)
        if not _says_why(line) and name != "tests/rules/test_lint.py"
    ]


@pytest.mark.parametrize(
    ("line", "says_why"),
    [
        ("x = 1", True),
        ("x = y  # noqa", False),
        ("x = y  # noqa: S608", False),
        ("x = y  # noqa: S608 - the table's name is one of ours", True),
        ("x = y  # type: ignore[return-value]", False),
        ("x = y  # pyright: ignore[reportX]  # polars types a column as anything", True),
    ],
)
def test_a_bare_ignore_is_seen(line: str, says_why: bool) -> None:
    assert _says_why(line) is says_why


def test_every_ignore_in_the_settings_gives_its_reason() -> None:
    assert not _unexplained_settings(read("pyproject.toml"))
    assert _unexplained_settings('[tool.ruff.lint.per-file-ignores]\n"a.py" = ["S608"]\n') == ['"a.py" = ["S608"]']
    assert _unexplained_settings('ignore = ["E501"]\n') == ['ignore = ["E501"]']


def test_no_module_is_over_400_lines() -> None:
    python = [*modules("registry", "dashboards", "migrations", "tests", "deploy")]
    scripts = [name for name in tracked_files() if name.endswith((".js", ".sh"))]
    # A migration holds SQL as the readable schema does, which is long because the schema is.
    long = [name for name in (*python, *scripts) if not name.startswith("migrations/versions/")]
    assert not [name for name in long if _lines(read(name)) > 400]
    assert _lines("\n" * 401) > 400


def _lines(text: str) -> int:
    return text.count("\n")


def _says_why(line: str) -> bool:
    found = IGNORE.search(line)
    return found is None or REASONED.match(found.group(2)) is not None


def _unexplained_settings(text: str) -> list[str]:
    """Lines of the settings that switch a rule off, without a comment on the line or on the one before."""
    found: list[str] = []
    section, before = "", ""
    for line in text.splitlines():
        if line.startswith("["):
            section = line
        switches_off = (
            line.startswith("ignore =")
            or re.match(r"report\w+ = false", line)
            or ("per-file-ignores" in section and line.startswith('"'))
        )
        explained = "#" in line or before.startswith("#") or (before.startswith("report") and "report" in line)
        if switches_off and not explained:
            found.append(line)
        before = line
    return found


def _passes(*command: str) -> None:
    done = subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]
