"""Signing in and out, and the accounts of a trial."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form
from fastapi.responses import HTMLResponse, Response

from hardiness.errors import InputError, Problem
from hardiness.store.accounts import ROLES
from hardiness.web.passphrases import LONGEST, SHORTEST, hash_passphrase, is_passphrase
from hardiness.web.visits import Anyone, AnyoneWrites, Owner, OwnerWrites, Visit

router = APIRouter()
Name = Annotated[str, Form(max_length=200)]
Passphrase = Annotated[str, Form(max_length=LONGEST)]


@router.get("/sign-in")
def _sign_in(visit: Anyone) -> Response:
    return visit.go("/") if visit.role else visit.page("sign_in.html", name="")


@router.post("/sign-in")
def _signed_in(visit: AnyoneWrites, name: Name, passphrase: Passphrase) -> Response:
    name = name.strip()
    tries, client = visit.place.tries, visit.request.client
    keys = (f"name {name.casefold()}", f"address {client.host if client else ''}")
    wait_s = tries.wait_s(*keys)
    if wait_s > 0:
        minutes = max(round(wait_s / 60), 1)
        refused = visit.page(
            "sign_in.html",
            status=429,
            name=name,
            problems=[Problem("too many wrong passphrases", f"the next try in {minutes} min")],
        )
        refused.headers["Retry-After"] = str(int(wait_s) + 1)
        return refused
    account = visit.place.trial.store.accounts.find(name)
    if not is_passphrase(account.secret if account else None, passphrase) or account is None:
        tries.wrong(*keys)
        return visit.page(
            "sign_in.html",
            status=403,
            name=name,
            problems=[
                Problem(
                    "a name and a passphrase that do not belong together", "those that the owner of the trial gave you"
                )
            ],
        )
    tries.right(*keys)
    response = visit.go("/")
    visit.place.sessions.write(response, visit.place.sessions.begin(account.name))
    return response


@router.post("/sign-out")
def _sign_out(visit: AnyoneWrites) -> Response:
    for held in visit.place.holding.of(visit.session.number):
        visit.place.holding.drop(held)
    response = visit.go("/sign-in")
    visit.place.sessions.write(response, visit.place.sessions.begin())
    return response


@router.get("/accounts")
def _accounts(visit: Owner) -> HTMLResponse:
    return _page(visit)


def _page(visit: Visit, problems: tuple[Problem | str, ...] = (), name: str = "") -> HTMLResponse:
    return visit.page(
        "accounts.html",
        status=422 if problems else 200,
        accounts=visit.place.trial.store.accounts.all(),
        roles=ROLES,
        problems=problems,
        name=name,
        shortest=SHORTEST,
    )


@router.post("/accounts")
def _put(visit: OwnerWrites, name: Name, role: Name, passphrase: Passphrase) -> Response:
    first = not visit.accounts
    try:
        if first and role != "owner":
            raise InputError(Problem(f"a {role} as the first account", "an owner, who can make the others"))
        made = visit.trial.store.accounts.put(name.strip(), role, hash_passphrase(passphrase))
    except InputError as error:
        return _page(visit, error.problems, name)
    response = visit.go("/accounts")
    if first:  # who made it goes on as that owner
        visit.place.sessions.write(response, visit.place.sessions.begin(made.name))
    return response


@router.post("/accounts/withdraw")
def _withdraw(visit: OwnerWrites, name: Name, undo: Annotated[str, Form(max_length=3)] = "") -> Response:
    try:
        visit.trial.store.accounts.withdraw(name, undo=undo == "yes")
    except InputError as error:
        return _page(visit, error.problems)
    return visit.go("/accounts")
