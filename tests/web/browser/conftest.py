"""A real browser before a real server; skipped where no Chromium is installed."""

import shutil
import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
import uvicorn
from starlette.types import ASGIApp

from hardiness.web.app import create_app
from hardiness.web.beginning import Beginning
from hardiness.web.place import Serving

playwright = pytest.importorskip("playwright.sync_api", reason="the package playwright is not installed")

PROGRAMS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
PROGRAM = next((found for name in PROGRAMS if (found := shutil.which(name))), None)
TIME_LIMIT_MS = 60_000  # for one wait: the machine may be busy


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.slow)
            item.add_marker(pytest.mark.timeout(300))
            if PROGRAM is None:
                item.add_marker(pytest.mark.skip(reason=f"none of {', '.join(PROGRAMS)} is installed"))


class Served:
    """The pages of a trial on a port of this machine."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self.socket = socket.create_server(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self.socket.getsockname()[1]}"
        self.server = uvicorn.Server(uvicorn.Config(self.app, log_level="warning"))
        self.thread = threading.Thread(target=self.server.run, kwargs={"sockets": [self.socket]})
        self.thread.start()

    def close(self) -> None:
        self.server.should_exit = True
        self.thread.join(60)
        self.socket.close()


@pytest.fixture(scope="session")
def looked_at(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a trial for tests that only look."""
    own = tmp_path_factory.mktemp("looked") / "hill"
    shutil.copytree(made, own)
    served = Served(create_app(own))
    yield served.address
    served.close()


@pytest.fixture
def address(folder: Path) -> Iterator[str]:
    """The address of a trial of one's own."""
    served = Served(create_app(folder))
    yield served.address
    served.close()


@pytest.fixture
def begun(tmp_path: Path) -> Iterator[str]:
    """The address of a trial that is not there yet."""
    door = Beginning(tmp_path / "new", Serving())
    served = Served(door)
    yield served.address
    served.close()
    door.close()


@pytest.fixture(scope="session")
def chromium():
    with playwright.sync_playwright() as run:
        program = run.chromium.launch(
            executable_path=PROGRAM, args=["--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu"]
        )
        yield program
        program.close()


@pytest.fixture
def look(chromium):
    """Open a page: look(address, width=..., dark=..., scripts=...); what the browser complains of is kept."""
    contexts = []

    def open_page(address: str, *, width: int = 1280, dark: bool = False, scripts: bool = True):
        context = chromium.new_context(
            viewport={"width": width, "height": 800},
            color_scheme="dark" if dark else "light",
            java_script_enabled=scripts,
        )
        context.set_default_timeout(TIME_LIMIT_MS)
        contexts.append(context)
        page = context.new_page()
        page.complaints = []
        page.on("console", lambda m: page.complaints.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: page.complaints.append(str(error)))
        page.goto(address)
        return page

    yield open_page
    for context in contexts:
        context.close()
