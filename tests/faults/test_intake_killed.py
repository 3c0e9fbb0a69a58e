"""kill -9 in the middle of taking a joint list in leaves all of it or nothing, and the list loads again."""

import os
import subprocess
import sys
from pathlib import Path

import psycopg
import pytest

from registry.embedded import EmbeddedServer
from tests.faults.conftest import PROJECT, kill_tree, postmaster_of, wait_until

JOINTS = 40_000
HEAD = "tag,family,service,east_m,north_m,pressure_barg,line,area"
# What the server is at when the blow falls, by the first words of the statement.
STEPS = {"the copy": "-- Take the list's typed rows", "the joints": "-- Joints that the register does not know yet"}


@pytest.fixture
def joint_list(tmp_path: Path) -> Path:
    path = tmp_path / "list.csv"
    rows = (f"T-{at:06d},flanged,hydrogen,{at % 900}.5,{at % 500},3,L-{at // 40},Jetty" for at in range(JOINTS))
    path.write_text(f"{HEAD}\n" + "\n".join(rows) + "\n")
    return path


def load(folder: Path, path: Path) -> subprocess.Popen[str]:
    environment = {name: value for name, value in os.environ.items() if not name.startswith("JOINTWRIGHT_")}
    return subprocess.Popen(
        [sys.executable, "-m", "registry.cli", "load", "joints", str(path), "--new-site", "marsh-end"],
        cwd=PROJECT,
        env={**environment, "JOINTWRIGHT_DATA_FOLDER": str(folder)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def finished(loading: subprocess.Popen[str]) -> tuple[int, str, str]:
    out, err = loading.communicate(timeout=120)
    return loading.returncode, out, err


def counted(url: str, statement: str) -> int:
    with psycopg.connect(url) as connection:
        row = connection.execute(statement).fetchone()
    assert row is not None
    return int(row[0])


@pytest.mark.parametrize(("step", "killed"), [("the copy", "the command"), ("the joints", "the server")])
def test_a_kill_leaves_all_or_nothing(
    step: str, killed: str, data_folder: Path, joint_list: Path, tmp_path: Path
) -> None:
    first = tmp_path / "first.csv"
    first.write_text(f"{HEAD}\nFIRST,union,steam,1,2,3,,\n")
    status, _, err = finished(load(data_folder, first))
    assert status == 0, err

    with EmbeddedServer(data_folder) as server:
        watching = psycopg.connect(server.url, autocommit=True)
        loading = load(data_folder, joint_list)

        def at_the_step() -> bool:
            found = watching.execute(
                "SELECT count(*) FROM pg_stat_activity WHERE state = 'active' AND query LIKE %s", [STEPS[step] + "%"]
            ).fetchone()
            return bool(found and found[0])

        wait_until(lambda: at_the_step() or loading.poll() is not None, 60)
        assert loading.poll() is None, f"the load ended before the blow fell: {finished(loading)}"
        if killed == "the server":
            postmaster = postmaster_of(data_folder)
            assert postmaster is not None
            kill_tree(postmaster)
        else:
            loading.kill()
        status, out, err = finished(loading)
        assert status != 0
        assert "added" not in out
        assert "Traceback" not in err
        watching.close()

    with EmbeddedServer(data_folder) as server:
        assert wait_until(lambda: counted(server.url, "SELECT count(*) FROM joint") == 1)
        assert counted(server.url, "SELECT count(*) FROM intake") == 1
        assert counted(server.url, "SELECT count(*) FROM line") == 0

    status, out, err = finished(load(data_folder, joint_list))
    assert (status, "40,000 added" in out) == (0, True), err
    with EmbeddedServer(data_folder) as server:
        assert counted(server.url, "SELECT count(*) FROM joint") == JOINTS + 1
