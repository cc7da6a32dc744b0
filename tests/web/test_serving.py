"""The verbs ``serve`` and ``account``, as a program of its own."""

import os
import re
import signal
import socket
import ssl
import subprocess
import sys
from contextlib import contextmanager
from urllib.error import HTTPError
from urllib.request import Request, urlopen

import pytest
from click.testing import CliRunner

from hardiness.cli import main
from hardiness.trial import open_trial
from tests.web.hill import PASSPHRASE

WAIT_S = 60  # a busy machine starts slowly


def run(*words, stdin=None):
    ran = CliRunner().invoke(main, [str(word) for word in words], input=stdin)
    assert "Traceback" not in ran.output
    return ran.exit_code, ran.output


def heed_ctrl_c():
    """As a program started by hand does: one started in the background may have been told to ignore it."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@contextmanager
def server(folder, *options):
    """The server as a program, and the address that it prints."""
    words = [sys.executable, "-m", "hardiness.cli", "serve", "--trial", str(folder), "--port", "0", *options]
    program = subprocess.Popen(
        words, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True, start_new_session=True, preexec_fn=heed_ctrl_c
    )
    try:
        said = program.stderr.readline()
        found = re.search(r"https?://\S+", said)
        assert found, said + program.stderr.read()
        yield program, found[0]
    finally:
        if program.poll() is None:
            program.send_signal(signal.SIGINT)
        program.communicate(timeout=WAIT_S)


def test_serve_prints_its_address_answers_and_ends_with_ctrl_c(folder):
    with server(folder) as (program, address):
        assert address.startswith("http://127.0.0.1:")
        with urlopen(f"{address}register", timeout=WAIT_S) as answer:
            assert b"T01" in answer.read()
            assert "default-src 'none'" in answer.headers["content-security-policy"]
            assert "uvicorn" not in str(answer.headers).lower()
        program.send_signal(signal.SIGINT)
        program.wait(WAIT_S)
        assert program.returncode == 130
    assert not list(folder.glob("trial.db-*"))


@pytest.mark.slow
def test_serve_refuses_a_foreign_host_and_a_page_of_the_framework(folder):
    with server(folder) as (_, address):
        for request in (Request(address, headers={"Host": "evil.example"}), Request(f"{address}openapi.json")):
            with pytest.raises(HTTPError):
                urlopen(request, timeout=WAIT_S)


def test_another_address_wants_an_account_first(folder):
    code, said = run("serve", "--trial", folder, "--host", "0.0.0.0", "--port", "0")
    assert code == 2
    assert "found '0.0.0.0', which other machines can reach, and no account" in said
    assert "hardiness account add NAME --role owner" in said


@pytest.mark.slow
def test_with_an_account_another_address_is_served_and_the_risk_is_said(peopled):
    with server(peopled, "--host", "0.0.0.0") as (program, address):
        assert "others on this network could read along" in program.stderr.readline()
        port = re.search(r":(\d+)/", address)[1]
        with urlopen(f"http://127.0.0.1:{port}/", timeout=WAIT_S) as answer:
            assert b"Passphrase" in answer.read()


def test_a_port_that_is_taken_is_told(folder):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        code, said = run("serve", "--trial", folder, "--port", taken.getsockname()[1])
    assert code == 2 and "which cannot be listened on" in said and "--port 0 takes any free one" in said


@pytest.mark.parametrize(
    "options, told",
    [
        (("--certificate", "c.pem"), "both, or neither"),
        (("--key", "k.pem"), "both, or neither"),
        (("--certificate", "c.pem", "--key", "k.pem"), "'c.pem', which is no file"),
    ],
)
def test_a_certificate_and_its_key_go_together(folder, options, told):
    code, said = run("serve", "--trial", folder, *options)
    assert code == 2 and told in said


def test_files_that_make_no_certificate_are_told(folder, tmp_path):
    (tmp_path / "c.pem").write_text("no certificate", encoding="utf-8")
    code, said = run(
        "serve", "--trial", folder, "--port", "0", "--certificate", tmp_path / "c.pem", "--key", tmp_path / "c.pem"
    )
    assert code == 2 and "files that make no certificate" in said


@pytest.mark.skipif(os.system("openssl version > /dev/null 2>&1") != 0, reason="needs the program openssl")
@pytest.mark.slow
def test_with_a_certificate_it_speaks_https(folder, tmp_path):
    made = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost",
            "-addext", "subjectAltName=IP:127.0.0.1", "-keyout", "k.pem", "-out", "c.pem"]  # fmt: skip
    subprocess.run(made, cwd=tmp_path, check=True, capture_output=True)
    with server(folder, "--certificate", str(tmp_path / "c.pem"), "--key", str(tmp_path / "k.pem")) as (_, address):
        assert address.startswith("https://127.0.0.1:")
        trust = ssl.create_default_context(cafile=tmp_path / "c.pem")
        with urlopen(f"{address}sign-in", timeout=WAIT_S, context=trust) as answer:
            assert "Secure" in answer.headers["set-cookie"]


@pytest.mark.parametrize("words", [("serve",), ("account", "list"), ("account", "withdraw", "Ana")])
def test_no_trial_is_told(tmp_path, words):
    code, said = run(*words, "--trial", tmp_path)
    assert code == 2 and f"{tmp_path} is no trial" in said


@pytest.mark.slow
def test_the_command_line_works_while_the_pages_are_served(folder):
    with server(folder) as (_, address):
        code, said = run("history", "--trial", folder)
        assert code == 0 and "selections.csv" in said
        with open_trial(folder) as trial:
            trial.add_rows("selections", [{"selection": "OL-31"}])
        with urlopen(f"{address}register?table=selections", timeout=WAIT_S) as answer:
            assert b"OL-31" in answer.read()


@pytest.mark.slow
def test_a_server_that_was_killed_loses_nothing(folder):
    with server(folder) as (program, _):
        with open_trial(folder) as trial:
            trial.add_rows("selections", [{"selection": "OL-32"}])
        program.kill()
        program.wait(WAIT_S)
    with open_trial(folder) as trial:
        assert "OL-32" in set(trial.store.current("selections")["selection"])
    assert not list(folder.glob("trial.db-*"))


# Accounts


def test_accounts_are_added_listed_closed_and_opened(folder):
    assert "There is no account" in run("account", "list", "--trial", folder)[1]
    asked = run("account", "add", "Ana", "--role", "owner", "--trial", folder, stdin=f"{PASSPHRASE}\n{PASSPHRASE}\n")
    assert asked[0] == 0 and "Ana may sign in as owner." in asked[1] and PASSPHRASE not in asked[1]
    given = run(
        "account", "add", "Rui", "--role", "scorer", "--passphrase-from", "-", "--trial", folder, stdin=PASSPHRASE
    )
    assert given[0] == 0
    assert "Rui   scorer  yes" in run("account", "list", "--trial", folder)[1]
    assert "closed" in run("account", "withdraw", "Rui", "--trial", folder)[1]
    assert "closed already: nothing has changed" in run("account", "withdraw", "Rui", "--trial", folder)[1]
    assert "open" in run("account", "withdraw", "Rui", "--undo", "--trial", folder)[1]
    history = run("history", "--trial", folder)[1]
    assert "add account" in history and "withdraw account" in history and "argon2" not in history


def test_the_first_account_is_an_owner(folder):
    code, said = run(
        "account", "add", "Eva", "--role", "viewer", "--passphrase-from", "-", "--trial", folder, stdin=PASSPHRASE
    )
    assert code == 2 and "an owner, who can make the others" in said


def test_a_short_passphrase_and_an_unknown_name_are_told(folder):
    code, said = run(
        "account", "add", "Ana", "--role", "owner", "--passphrase-from", "-", "--trial", folder, stdin="short\n"
    )
    assert code == 2 and "found a passphrase of 5 characters; accepted: 12 to 200 characters" in said
    code, said = run("account", "withdraw", "Ana", "--trial", folder)
    assert code == 2 and "there is none yet" in said
