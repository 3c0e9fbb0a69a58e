"""What the environment may set, read once at the edges."""

import os
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Settings:
    """Where the data live and which site is meant.

    `database_url` None means the embedded server under `data_folder`; `site` None means the only site there is.
    """

    data_folder: Path
    database_url: str | None
    site: str | None


def settings_from(environment: Mapping[str, str]) -> Settings:
    """Read `JOINTWRIGHT_DATA_FOLDER`, `JOINTWRIGHT_DATABASE_URL` and `JOINTWRIGHT_SITE`."""
    folder = environment.get("JOINTWRIGHT_DATA_FOLDER")
    return Settings(
        data_folder=Path(folder) if folder else _default_data_folder(environment),
        database_url=environment.get("JOINTWRIGHT_DATABASE_URL") or None,
        site=environment.get("JOINTWRIGHT_SITE") or None,
    )


def migrations_folder() -> Path:
    """Where the migrations lie: beside the packages in a checkout, inside them when installed."""
    beside = Path(__file__).parent.parent / "migrations"
    return beside if (beside / "env.py").exists() else Path(__file__).parent / "_migrations"


def _default_data_folder(environment: Mapping[str, str]) -> Path:
    # A server that root starts runs as a user of its own, who cannot reach into root's home.
    if os.geteuid() == 0:
        return Path("/var/lib/jointwright")
    home = Path(environment.get("HOME") or Path.home())
    if sys.platform == "darwin":
        return home / "Library" / "Application Support" / "jointwright"
    return Path(environment.get("XDG_DATA_HOME") or home / ".local" / "share") / "jointwright"
