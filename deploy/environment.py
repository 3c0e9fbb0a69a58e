"""Make or renew the project's virtual environment, `.venv`: `python deploy/environment.py [test]`.

Plain Python 3.11, nothing else. Quick when nothing has changed: a stamp in the environment holds what it was made from.
"""

import fcntl
import hashlib
import json
import os
import subprocess
import sys
import time
from pathlib import Path

PROJECT = Path(__file__).resolve().parent.parent
FOLDER = PROJECT / ".venv"
STAMP = FOLDER / "jointwright-installed.json"
LOG = FOLDER / "install.log"
VENV_PYTHON = FOLDER / "bin" / "python"
IMPORT_ALL = """
import importlib, pkgutil
for package in map(importlib.import_module, ("registry", "dashboards")):
    for module in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        importlib.import_module(module.name)
"""


def main(extras: list[str]) -> int:
    """Bring the environment up to date and return an exit status."""
    if _is_current(extras):
        return 0
    # Two scripts started at once: the second waits here, and then finds all done.
    with (PROJECT / "pyproject.toml").open("rb") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if _is_current(extras):
            return 0
        try:
            return _make(extras)
        except OSError as exc:
            print(f"Cannot write {FOLDER}: {exc.strerror}. Run this as the user who owns the folder.", file=sys.stderr)
            return 1


def _make(extras: list[str]) -> int:
    began = time.monotonic()
    if not _works():
        print(f"Making a virtual environment in {FOLDER} with Python {sys.version.split()[0]}", flush=True)
        made = subprocess.run(
            [sys.executable, "-m", "venv", "--clear", str(FOLDER)], capture_output=True, text=True, check=False
        )
        if made.returncode != 0:
            print(made.stdout + made.stderr, file=sys.stderr)
            print(
                "This Python cannot make a virtual environment, or the folder cannot be written."
                " On Debian or Ubuntu the module is a package of its own: apt-get install python3-venv",
                file=sys.stderr,
            )
            return 1
    wanted = sorted({*extras, *_stamp().get("extras", [])})
    STAMP.unlink(missing_ok=True)
    what = "jointwright" + (f" and what its tests need ({', '.join(wanted)})" if wanted else "")
    print(f"Installing {what}; a first time takes a minute or two", flush=True)
    if not _install("-e", f".[{','.join(wanted)}]" if wanted else "."):
        return 1
    STAMP.write_text(json.dumps({**_made_from(), "extras": wanted}, indent=1))
    print(f"Installed in {time.monotonic() - began:.0f} s", flush=True)
    return 0


def _install(*what: str) -> bool:
    """Run pip, showing each package that it turns to; its own words go to a log, and the errors in it are shown."""
    command = [str(VENV_PYTHON), "-m", "pip", "install", "--disable-pip-version-check", "--no-input", "--no-compile"]
    command += ["--progress-bar", "off", "--constraint", "deploy/constraints.txt", *what]
    packages = 0
    with (
        LOG.open("w", encoding="utf-8") as log,
        subprocess.Popen(
            command, cwd=PROJECT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace"
        ) as pip,
    ):
        assert pip.stdout is not None
        for line in pip.stdout:
            log.write(line)
            if line.startswith(("Collecting ", "Processing ")):
                packages += 1
                _show(f"  {packages} {line.split()[1].rpartition('/')[2]}")
            elif line.startswith("Installing collected") and packages:
                _show(f"  all {packages} found, unpacking them")
    if pip.returncode == 0:
        # pip would compile twenty times what we use; importing our own modules compiles what they need.
        _show("  compiling what is used")
        environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
        subprocess.run(
            [str(VENV_PYTHON), "-c", IMPORT_ALL], cwd=PROJECT, env=environment, capture_output=True, check=False
        )
        _show("")
        return True
    _show("")
    lines = [line for line in LOG.read_text(encoding="utf-8").splitlines() if line.strip()]
    errors = [line for line in lines if line.startswith("ERROR")] or lines[-15:]
    print(
        "The packages could not be installed:", *errors, f"pip's whole account is in {LOG}", sep="\n", file=sys.stderr
    )
    return False


def _show(text: str) -> None:
    if sys.stdout.isatty():
        print(f"\r\033[K{text}", end="", flush=True)
    elif text:
        print(text, flush=True)


def _is_current(extras: list[str]) -> bool:
    stamp = _stamp()
    same = all(stamp.get(key) == value for key, value in _made_from().items())
    return same and set(extras) <= set(stamp.get("extras", [])) and _works()


def _made_from() -> dict[str, str]:
    # The place is in the scripts that pip writes: a folder that was moved or copied needs an environment made anew.
    sources = [(PROJECT / name).read_bytes() for name in ("pyproject.toml", "deploy/constraints.txt")]
    return {"place": str(PROJECT), "python": sys.version, "sha256": hashlib.sha256(b"\0".join(sources)).hexdigest()}


def _stamp() -> dict[str, list[str]]:
    try:
        return json.loads(STAMP.read_text())
    except (OSError, ValueError):
        return {}


def _works() -> bool:
    """Whether the environment is there, at its place, with this very Python and a pip."""
    try:
        done = subprocess.run(
            [str(VENV_PYTHON), "-c", "import pip, sys; print(sys.prefix); print(sys.version)"],
            capture_output=True,
            text=True,
            check=False,
        )
    except OSError:
        return False
    return done.returncode == 0 and done.stdout == f"{FOLDER}\n{sys.version}\n"


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except KeyboardInterrupt:
        print("\nStopped; run it again to go on.", file=sys.stderr)
        sys.exit(130)
