"""What is installed holds what the checkout holds, at pinned versions; the examples of deploy/ call what exists."""

import os
import re
import subprocess
import sys
import tomllib
import zipfile
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.rules.project import PROJECT, read, tracked_files
from tests.rules.test_docs import faults_of

SCRIPTS = [name for name in tracked_files() if re.fullmatch(r"deploy/\w+\.sh", name)]
PINS = dict(line.split("==") for line in read("deploy/constraints.txt").splitlines() if "==" in line)


def test_the_wheel_holds_everything_that_the_program_reads(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", str(tmp_path)]
    done = subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    held = set(zipfile.ZipFile(next(tmp_path.glob("*.whl"))).namelist())
    ours = {name for name in tracked_files() if name.partition("/")[0] in ("registry", "dashboards")}
    assert not ours - held
    migrations = [name for name in tracked_files() if name.startswith("migrations/")]
    assert not {name.replace("migrations/", "registry/_migrations/", 1) for name in migrations} - held


def test_every_package_is_pinned_and_the_pins_are_what_is_installed() -> None:
    project = tomllib.loads(read("pyproject.toml"))["project"]
    asked = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    waiting, seen = [Requirement(line) for line in asked], set[str]()
    while waiting:
        requirement = waiting.pop()
        name = canonicalize_name(requirement.name)
        assert name in PINS, f"{name} is not pinned: run deploy/pin.py"
        assert PINS[name] in requirement.specifier, (
            f"{name}: {PINS[name]} is pinned, {requirement.specifier} is asked for"
        )
        assert metadata.version(name) == PINS[name], (
            f"{name}: {metadata.version(name)} is installed, {PINS[name]} is pinned"
        )
        if name not in seen:
            seen.add(name)
            needs = map(Requirement, metadata.requires(name) or ())
            waiting += [need for need in needs if need.marker is None or need.marker.evaluate({"extra": ""})]


@pytest.mark.parametrize("name", SCRIPTS)
def test_a_script_is_plain_sh(name: str) -> None:
    shells = [shell for shell in ("/bin/sh", "/bin/dash", "/bin/bash") if os.access(shell, os.X_OK)]
    for shell in shells:
        done = subprocess.run([shell, "-n", name], cwd=PROJECT, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
    # What dash does not know and bash would let pass.
    assert not re.search(r"\[\[|\bfunction \w|<<<|\bsource |\$'|\blocal |\bdeclare |&>|\bpushd\b", read(name))


@pytest.mark.parametrize(
    ("name", "pattern"),
    [
        ("deploy/demo.sh", r"(?m)^(?:exec )?\.venv/bin/(jointwright .*?)(?: \"\$@\")?$"),
        ("deploy/jointwright.service", r"(?m)^ExecStart=\S+/(jointwright .*)$"),
        ("deploy/Containerfile", r"(?m)^CMD \[(.*)\]$"),
    ],
)
def test_the_examples_call_commands_that_exist(name: str, pattern: str) -> None:
    commands = [re.sub(r'[",]', "", found) for found in re.findall(pattern, read(name))]
    assert commands
    assert not [f"{command}: {fault}" for command in commands for fault in faults_of(command)]


def test_the_container_copies_what_is_there() -> None:
    for copied in re.findall(r"(?m)^COPY (.+) \S+$", read("deploy/Containerfile")):
        for name in copied.split():
            assert (PROJECT / name).exists(), name
