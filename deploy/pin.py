"""Write deploy/constraints.txt anew: the version here of everything that pyproject.toml asks for, and what that needs.

Run it in an environment whose tests pass: `.venv/bin/python deploy/pin.py`.
"""

import tomllib
from importlib.metadata import distribution
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name


def pinned(asked: list[str]) -> dict[str, str]:
    """Name and version of every package that the requirements lead to in this environment."""
    found: dict[str, str] = {}
    seen: set[tuple[str, str]] = set()
    waiting = [Requirement(line) for line in asked]
    while waiting:
        requirement = waiting.pop()
        package = distribution(requirement.name)
        name = canonicalize_name(requirement.name)
        found[name] = package.version
        for extra in ("", *requirement.extras):
            if (name, extra) not in seen:
                seen.add((name, extra))
                needs = map(Requirement, package.requires or ())
                waiting += [need for need in needs if need.marker is None or need.marker.evaluate({"extra": extra})]
    return found


def main() -> None:
    """Write the pins, with what they are for."""
    project = tomllib.loads((Path(__file__).parent.parent / "pyproject.toml").read_text())
    asked = [*project["project"]["dependencies"], *project["build-system"]["requires"]]
    for extra in project["project"]["optional-dependencies"].values():
        asked += extra
    lines = ["# The versions that the tests passed with. Written by deploy/pin.py; edit pyproject.toml, not this."]
    lines += [f"{name}=={version}" for name, version in sorted(pinned(asked).items())]
    Path(__file__).with_name("constraints.txt").write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
