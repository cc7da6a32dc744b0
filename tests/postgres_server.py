"""A PostgreSQL server of the tests' own, in a passing folder, reached through a socket in it and nowhere else.

The machine's own servers, if it has any, are neither used nor touched. The server refuses to run as root, so that root
starts it as another user, to whom the folder is given.
"""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path

OWNER = "tests"  # the database's superuser
SERVANTS = ("postgres", "nobody")  # whom root may run it as
PROGRAMS = ("initdb", "pg_ctl")
LIKELY = "/usr/lib/postgresql"  # where Debian keeps the programs, a folder for each version
# Nothing here outlives the tests, so that nothing needs to be on the disk.
OPTIONS = "-c listen_addresses='' -c fsync=off -c synchronous_commit=off -c full_page_writes=off"


def programs() -> Path | None:
    """The folder with the server's programs, the newest where there are several."""
    versions = sorted(Path(LIKELY).glob("*/bin"), key=lambda path: float(path.parent.name), reverse=True)
    on_path = shutil.which(PROGRAMS[0])
    folders = [*versions, *([Path(on_path).parent] if on_path else [])]
    return next((folder for folder in folders if all((folder / name).is_file() for name in PROGRAMS)), None)


def why_not() -> str:
    """Why no server can be started here; empty where one can."""
    if programs() is None:
        return "no PostgreSQL server (initdb, pg_ctl) on this machine"
    return "" if find_spec("psycopg") else "psycopg is not installed: pip install hardiness[postgres]"


@contextmanager
def running_server() -> Iterator[str]:
    """A server while the block runs: the URL of its database ``postgres``, where others may be made."""
    at = programs()
    if at is None:
        raise RuntimeError(why_not())
    # A socket's path has room for some hundred characters, which a test's own folder may take up by itself.
    folder = Path(tempfile.mkdtemp(prefix="pg-", dir="/tmp"))
    data, log = folder / "data", folder / "log"
    servant = _servant(folder)
    try:
        _run(folder, servant, at / "initdb", "-D", data, "-U", OWNER, "-A", "trust", "-E", "UTF8", "--locale=C",
             "--no-sync")  # fmt: skip
        _run(folder, servant, at / "pg_ctl", "-D", data, "-l", log, "-w", "-o", f"{OPTIONS} -k {folder}", "start")
        try:
            yield f"postgresql://{OWNER}@/postgres?host={folder}"
        finally:
            _run(folder, servant, at / "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder)


def _servant(folder: Path) -> dict[str, object]:
    """As whom to run, for root: another user, whose the folder becomes."""
    if os.geteuid() != 0:
        return {}
    known = {entry.pw_name: entry for entry in pwd.getpwall()}
    entry = next(known[name] for name in SERVANTS if name in known)
    os.chown(folder, entry.pw_uid, entry.pw_gid)
    return {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": ()}


def _run(folder: Path, servant: dict[str, object], *words: object) -> None:
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PG")}
    told = folder / "told"
    with told.open("w+b") as out:  # not a pipe: the server would keep it open
        ended = subprocess.run(
            [str(word) for word in words], cwd=folder, env=environment | {"HOME": str(folder)}, stdout=out, stderr=out,
            timeout=60, check=False, **servant,
        )  # fmt: skip
    if ended.returncode:
        logs = "".join(path.read_text(errors="replace") for path in (told, folder / "log") if path.exists())
        raise RuntimeError(f"{words[0]} ended {ended.returncode}: {logs[-2000:]}")
