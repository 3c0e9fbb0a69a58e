"""The project as the rules see it: its tracked files and its modules."""

import functools
import subprocess
from collections.abc import Iterator
from pathlib import Path

PROJECT = Path(__file__).parent.parent.parent
OUTSIDE_CAPABILITIES = ("commands", "demo", "web")


@functools.cache
def tracked_files() -> tuple[str, ...]:
    """Every file that is in git or would be, relative to the top; what is ignored is not ours."""
    # A checkout that belongs to somebody else, as in a container, is still this project.
    command = ["git", "-c", "safe.directory=*", "ls-files", "--cached", "--others", "--exclude-standard"]
    done = subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, check=False)
    if done.returncode != 0:  # an unpacked archive: everything but what runs leave behind
        found = (path.relative_to(PROJECT) for path in PROJECT.rglob("*") if path.is_file())
        return tuple(str(path) for path in found if not {".venv", "__pycache__"} & set(path.parts))
    return tuple(name for name in done.stdout.splitlines() if (PROJECT / name).is_file())


def read(name: str) -> str:
    """The text of a tracked file, or nothing where it is not text."""
    try:
        return (PROJECT / name).read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return ""


def modules(*folders: str) -> Iterator[str]:
    """The Python files below the given top-level folders."""
    return (name for name in tracked_files() if name.endswith(".py") and name.partition("/")[0] in folders)


def capability_of(name: str) -> str | None:
    """The capability that a module of registry belongs to, or None for the modules around them."""
    parts = name.split("/")
    if parts[0] != "registry" or len(parts) < 3 or parts[1] in OUTSIDE_CAPABILITIES:
        return None
    return parts[1]
