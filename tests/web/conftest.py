"""Fixtures of the web pages: a small trial, served."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from hardiness.settings import Settings
from hardiness.trial import new_trial, open_trial
from hardiness.web.app import create_app
from hardiness.web.passphrases import hash_passphrase
from hardiness.web.place import Serving
from tests.web.hill import ADDRESS, HERE, PASSPHRASE, Browser, make_hill


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A trial with everything in it, made once; copy it, never change it."""
    folder = tmp_path_factory.mktemp("made") / "hill"
    make_hill(folder)
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    """The trial, one's own."""
    own = tmp_path / "hill"
    shutil.copytree(made, own)
    return own


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    """A trial with nothing in it."""
    with new_trial(tmp_path / "bare", Settings("Bare", "Europe/Lisbon", latitude=41.2)):
        pass
    return tmp_path / "bare"


@pytest.fixture
def serve() -> Iterator:
    """Serve a trial: serve(folder, host=..., client=...)."""
    opened = []

    def start(folder: Path, *, client: tuple[str, int] = HERE, base: str = ADDRESS, **serving: object) -> Browser:
        test = TestClient(
            create_app(folder, Serving(**serving)), base_url=base, client=client, raise_server_exceptions=True
        )
        test.__enter__()
        opened.append(test)
        return Browser(test)

    yield start
    for test in opened:
        test.__exit__(None, None, None)


@pytest.fixture(scope="session")
def shared(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """The owner at this computer, for tests that only look: the fit is done once."""
    own = tmp_path_factory.mktemp("shared") / "hill"
    shutil.copytree(made, own)
    with TestClient(create_app(own), base_url=ADDRESS, client=HERE) as test:
        yield Browser(test)


@pytest.fixture
def browser(serve, folder: Path) -> Browser:
    """The owner at this computer, with the whole trial."""
    return serve(folder)


@pytest.fixture(scope="session")
def with_people(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The trial with an owner, a scorer and a viewer; copy it, never change it."""
    folder = tmp_path_factory.mktemp("people") / "hill"
    shutil.copytree(made, folder)
    secret = hash_passphrase(PASSPHRASE)
    with open_trial(folder) as trial:
        for name, role in (("Ana", "owner"), ("Rui", "scorer"), ("Eva", "viewer")):
            trial.store.accounts.put(name, role, secret)
    return folder


@pytest.fixture
def peopled(with_people: Path, tmp_path: Path) -> Path:
    own = tmp_path / "peopled"
    shutil.copytree(with_people, own)
    return own
