"""Verbs of the web app: ``serve`` and ``account``."""

from __future__ import annotations

import errno
import os
import socket
import ssl
from contextlib import closing
from pathlib import Path
from typing import TextIO

import click
import pandas as pd
import uvicorn

from hardiness.commands.groups import NearNames
from hardiness.commands.output import say, trial_folder, trial_option
from hardiness.commands.printing import print_table
from hardiness.errors import InputError, Problem
from hardiness.schema import Column, column_names
from hardiness.settings import SETTINGS_FILE
from hardiness.store.accounts import ROLES
from hardiness.trial import Trial, open_trial
from hardiness.web.app import create_app
from hardiness.web.beginning import Beginning
from hardiness.web.passphrases import SHORTEST, hash_passphrase
from hardiness.web.place import Serving
from hardiness.web.security import is_loopback

PORT = 8017
ACCOUNTS = (Column("name", "who"), Column("role", "what the person may do"), Column("open", "may sign in", "flag"))
PLAIN_HTTP = (
    "It speaks plain http: others on this network could read along, and phones do without what browsers allow on safe "
    "pages only. --certificate and --key make it https."
)


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, metavar="ADDRESS", help="The address to listen on.")
@click.option(
    "--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="The port; 0: any free one."
)
@click.option("--certificate", type=click.Path(path_type=Path), metavar="FILE", help="Certificate (PEM), for https.")
@click.option("--key", type=click.Path(path_type=Path), metavar="FILE", help="Its private key (PEM).")
@click.option(
    "--largest-upload",
    type=click.IntRange(1, 2000),
    default=200,
    show_default=True,
    metavar="MB",
    help="Most that may be dropped at once.",
)
@click.option("--new", "begin", is_flag=True, help="Where there is no trial yet, show a page that makes one.")
@trial_option
def serve(
    host: str,
    port: int,
    certificate: Path | None,
    key: Path | None,
    largest_upload: int,
    begin: bool,
    trial: str | None,
) -> None:
    """Serve the trial as web pages, on this computer alone unless --host says otherwise.

    Anyone who can reach another address would be let in only with an account: hardiness account add NAME makes one.
    """
    folder = trial_folder(trial)
    _check_files(certificate, key)
    begin = begin and not (folder / SETTINGS_FILE).exists()
    if begin:
        _refuse_to_begin(folder, host)
    else:
        with open_trial(folder) as opened:
            if not is_loopback(host):
                _refuse_without_accounts(opened, host)
    with closing(_bound(host, port)) as listening:
        serving = Serving(host=host, secure=certificate is not None, largest_upload=largest_upload * 1_000_000)
        app = Beginning(folder, serving) if begin else create_app(folder, serving)
        try:
            config = uvicorn.Config(
                app,
                ssl_certfile=certificate,
                ssl_keyfile=key,
                log_level="warning",
                server_header=False,
                proxy_headers=False,
                timeout_graceful_shutdown=5,
            )
            _load(config)
            named = f"[{host}]" if ":" in host else host
            address = f"{'https' if certificate else 'http'}://{named}:{listening.getsockname()[1]}/"
            say(f"The trial is at {address} - Ctrl-C ends it.")
            if not is_loopback(host) and certificate is None:
                say(PLAIN_HTTP)
            uvicorn.Server(config).run(sockets=[listening])
        finally:
            app.close() if isinstance(app, Beginning) else app.state.place.close()


def _load(config: uvicorn.Config) -> None:
    try:
        config.load()
    except ssl.SSLError as error:
        raise InputError(
            Problem(
                f"files that make no certificate ({error.reason or error})",
                "a PEM certificate and its key",
                file="--certificate, --key",
            )
        ) from None


def _refuse_to_begin(folder: Path, host: str) -> None:
    if not is_loopback(host):
        raise InputError(
            Problem(
                f"'{host}', which other machines can reach, and no trial yet",
                "127.0.0.1",
                file="--host",
                hint="Make the trial first; then accounts; then serve it there.",
            )
        )
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(Problem(f"'{folder}', which holds other things", "a new or empty folder", file="--trial"))


def _check_files(certificate: Path | None, key: Path | None) -> None:
    if (certificate is None) != (key is None):
        lacking = "--key" if key is None else "--certificate"
        raise InputError(Problem("one of --certificate and --key", "both, or neither", file=lacking))
    for option, path in (("--certificate", certificate), ("--key", key)):
        if path is not None and not path.is_file():
            raise InputError(Problem(f"'{path}', which is no file", "a PEM file", file=option))


def _refuse_without_accounts(trial: Trial, host: str) -> None:
    if not any(account.role == "owner" for account in trial.store.accounts.open()):
        raise InputError(
            Problem(
                f"'{host}', which other machines can reach, and no account",
                "127.0.0.1, or a trial with accounts",
                file="--host",
                hint="Make one first: hardiness account add NAME --role owner.",
            )
        )


def _bound(host: str, port: int) -> socket.socket:
    """Take the port now, so that the address printed is true."""
    listening = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET)
    try:
        if os.name != "nt":  # there it would let two programs have one port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
        listening.listen(128)  # from here on a browser waits for the answer instead of being turned away
    except OSError as error:
        listening.close()
        hint = "--port 0 takes any free one." if error.errno == errno.EADDRINUSE else None
        raise InputError(
            Problem(
                f"{host}:{port}, which cannot be listened on ({error.strerror or error})",
                "a free port of an address of this machine",
                file="--host, --port",
                hint=hint,
            )
        ) from None
    return listening


@click.group(cls=NearNames)
@trial_option
def account(trial: str | None) -> None:
    """Accounts for the web pages: who may sign in, and do what."""


FROM = click.option(
    "--passphrase-from",
    type=click.File("r", encoding="utf-8"),
    metavar="FILE",
    help="Read the passphrase from the first line of a file; '-' is stdin. Else it is asked for.",
)


@account.command("add")
@click.argument("name", metavar="NAME")
@click.option(
    "--role", type=click.Choice(list(ROLES)), required=True, help=f"{'; '.join(f'{r} {w}' for r, w in ROLES.items())}."
)
@FROM
@trial_option
def add_account(name: str, role: str, passphrase_from: TextIO | None, trial: str | None) -> None:
    """Make an account, or give one another role and passphrase."""
    with open_trial(trial_folder(trial)) as opened:
        accounts = opened.store.accounts
        if role != "owner" and not any(one.role == "owner" and one.name != name for one in accounts.open()):
            raise InputError(
                Problem(f"a {role} as the first account", "an owner, who can make the others", file="--role")
            )
        secret = hash_passphrase(_passphrase(passphrase_from))
        made = accounts.put(name, role, secret)
    say(f"{made.name} may sign in as {made.role}.")


def _passphrase(file: TextIO | None) -> str:
    if file is not None:
        return file.readline().rstrip("\r\n")
    text: str = click.prompt(
        f"Passphrase ({SHORTEST} characters or more)", hide_input=True, confirmation_prompt="Once more", err=True
    )
    return text


@account.command("list")
@trial_option
def list_accounts(trial: str | None) -> None:
    """List the accounts, closed ones too."""
    with open_trial(trial_folder(trial)) as opened:
        found = opened.store.accounts.all()
        table = pd.DataFrame([(one.name, one.role, not one.withdrawn) for one in found], columns=column_names(ACCOUNTS))
        print_table(table, ACCOUNTS, opened.settings)
    if not found:
        say("There is no account: the pages are served to this computer alone, and whoever sits at it is the owner.")


@account.command("withdraw")
@click.argument("name", metavar="NAME")
@click.option("--undo", is_flag=True, help="Open it again.")
@trial_option
def withdraw_account(name: str, undo: bool, trial: str | None) -> None:
    """Close an account: its sessions end at once."""
    with open_trial(trial_folder(trial)) as opened:
        changed = opened.store.accounts.withdraw(name, undo=undo)
    state = "open" if undo else "closed"
    say(
        f"The account of {name} is {state}."
        if changed
        else f"The account of {name} is {state} already: nothing has changed."
    )
