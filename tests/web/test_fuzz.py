"""Whatever is asked of the pages, within their forms and outside of them: never a fault of ours."""

import shutil

import pytest
import schemathesis
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, settings

from hardiness.web.app import ROUTERS, create_app
from tests.web.hill import ADDRESS, HERE, token_in

pytestmark = [pytest.mark.slow, pytest.mark.timeout(170)]
FEW = settings(max_examples=25, deadline=None, derandomize=True, phases=(Phase.explicit, Phase.generate),
               suppress_health_check=list(HealthCheck))  # fmt: skip
SHUT_OUT = ("/accounts", "/accounts/withdraw", "/sign-out")  # an account made here would shut the rest out


def described() -> dict:
    """What the pages take, as the framework writes it down."""
    app = FastAPI()
    for router in ROUTERS:
        app.include_router(router)
    return app.openapi()


SCHEMA = schemathesis.openapi.from_dict(described())
OPERATIONS = [(path, way.upper()) for path, ways in described()["paths"].items() for way in ways]


@pytest.fixture(scope="module")
def asked(made, tmp_path_factory):
    own = tmp_path_factory.mktemp("fuzz") / "hill"
    shutil.copytree(made, own)
    with TestClient(create_app(own), base_url=ADDRESS, client=HERE, raise_server_exceptions=False) as client:
        yield client


@pytest.mark.parametrize("path, way", OPERATIONS, ids=lambda value: value)
def test_nothing_that_is_asked_is_a_fault_of_ours(asked, path, way):
    token = token_in(asked.get("/accounts").text) if path not in SHUT_OUT else ""

    @FEW
    @given(case=SCHEMA[path][way].as_strategy())
    def ask(case):
        sent = case.as_transport_kwargs(base_url=ADDRESS)
        options = {name: sent[name] for name in ("params", "data", "json", "files") if sent.get(name) is not None}
        if isinstance(options.get("data"), bytes):
            options["content"] = options.pop("data")
        kept = {name: value for name, value in dict(sent["headers"]).items() if name.lower() == "content-type"}
        headers = kept | ({"X-Token": token} if way == "POST" else {})
        answer = asked.request(
            way, sent["url"].removeprefix(ADDRESS), headers=headers, follow_redirects=False, **options
        )
        assert answer.status_code < 500 or answer.status_code == 503, answer.text[:500]
        assert "default-src 'none'" in answer.headers["content-security-policy"]

    ask()
