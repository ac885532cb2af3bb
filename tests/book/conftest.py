"""A book to try things on: the same tests on a file, and on a real PostgreSQL with PostGIS."""

import os
import shutil
import socket
import subprocess
import tempfile
from pathlib import Path

import pytest

_PROGRAMS = "/usr/lib/postgresql"


@pytest.fixture(scope="session")
def postgresql():
    """Start a server of our own and give the address of a database in it, without its name."""
    paths = sorted(Path(_PROGRAMS).glob("*/bin/initdb"))
    if not paths or not list(Path("/usr/share/postgresql").glob("*/extension/postgis.control")):
        if os.environ.get("ZONEPLAN_NEEDS_POSTGRESQL") == "1":
            pytest.fail("There is no PostgreSQL with PostGIS, and there must be.")
        pytest.skip("There is no PostgreSQL with PostGIS.")
    programs = paths[-1].parent
    user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []  # root it refuses
    home = Path(tempfile.mkdtemp(prefix="zoneplan-postgresql-"))
    if user:
        shutil.chown(home, "postgres")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    data, log = home / "data", home / "log"
    options = f"-p {port} -k {home} -c listen_addresses=127.0.0.1 -c fsync=off"
    first = [*user, programs / "initdb", "-D", data, "-A", "trust", "-U", "postgres", "-E", "UTF8"]
    subprocess.run(first, check=True, capture_output=True, cwd="/")
    control = [*user, programs / "pg_ctl", "-w", "-D", data]
    subprocess.run(
        [*control, "-l", log, "-o", options, "start"],
        check=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        cwd="/",
    )
    import psycopg

    server = f"postgresql://postgres@127.0.0.1:{port}"
    with psycopg.connect(f"{server}/template1", autocommit=True) as connection:
        connection.execute("CREATE EXTENSION postgis")  # once: new databases are copies
    yield server
    subprocess.run([*control, "-m", "immediate", "stop"], check=True, capture_output=True, cwd="/")
    shutil.rmtree(home)


@pytest.fixture(params=["file", pytest.param("server", marks=pytest.mark.postgres)])
def address(request, tmp_path):
    """Where a new book can be: a file that is not there, or an empty database."""
    if request.param == "file":
        yield str(tmp_path / "season.book")
        return
    import psycopg

    server = request.getfixturevalue("postgresql")
    name = f"book_{abs(hash(request.node.nodeid))}"
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    yield f"{server}/{name}"
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")
