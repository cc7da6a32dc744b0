"""Accounts: who may do what through the web pages. Kept with the records; withdrawn, never deleted.

The store keeps a secret as the text it is given: hashing passphrases is the business of the door.
"""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa

from hardiness.errors import InputError, Problem, near_name
from hardiness.read.labels import RefusedError, parse_label
from hardiness.store.database import ACCOUNTS
from hardiness.store.folder import TrialFolder
from hardiness.store.history import note_act

ROLES = {"owner": "may do everything", "scorer": "may add scores and readings", "viewer": "may look"}
TABLE = "accounts"  # its name in the history


@dataclass(frozen=True, slots=True)
class Account:
    """One person's account.

    Parameters
    ----------
    name : str
        What the history calls the person.
    role : str
        ``owner``, ``scorer`` or ``viewer``.
    secret : str
        The hash of the passphrase.
    withdrawn : bool
        Whether it is closed.
    """

    name: str
    role: str
    secret: str
    withdrawn: bool


class Accounts:
    """The accounts of one trial.

    Parameters
    ----------
    folder : TrialFolder
        The trial, and who acts.
    """

    def __init__(self, folder: TrialFolder) -> None:
        self._folder = folder

    def all(self) -> list[Account]:
        """List the accounts by name, closed ones too.

        Returns
        -------
        list of Account
        """
        with self._folder.database.read() as connection:
            rows = connection.execute(sa.select(ACCOUNTS)).all()
        accounts = [Account(row.name, row.role, row.secret, bool(row.withdrawn)) for row in rows]
        return sorted(accounts, key=lambda account: account.name)  # here, for every server has an order of its own

    def open(self) -> list[Account]:
        """List the accounts that may sign in.

        Returns
        -------
        list of Account
        """
        return [account for account in self.all() if not account.withdrawn]

    def find(self, name: str) -> Account | None:
        """Find an account that may sign in.

        Parameters
        ----------
        name : str

        Returns
        -------
        Account or None
        """
        return next((account for account in self.open() if account.name == name), None)

    def put(self, name: str, role: str, secret: str) -> Account:
        """Make an account, or give one another role and secret; a closed one is open again.

        Parameters
        ----------
        name : str
            What the history calls the person.
        role : str
            One of :data:`ROLES`.
        secret : str
            The hash of the passphrase.

        Returns
        -------
        Account

        Raises
        ------
        InputError
            If the name or the role is none, or no open owner would be left.
        """
        try:
            name = parse_label(name, "name")
        except RefusedError as error:
            raise InputError(Problem(error.found, error.accepted, column="name", hint=error.hint)) from None
        if not name:
            raise InputError(Problem("an empty name", "the person's name", column="name"))
        if role not in ROLES:
            raise InputError(Problem(f"'{role}'", ", ".join(ROLES), column="role", hint=near_name(role, list(ROLES))))
        with self._folder.database.write() as connection:
            there = connection.execute(sa.select(ACCOUNTS).where(ACCOUNTS.c.name == name)).first()
            if there is not None and role != "owner":
                _keep_an_owner(connection, name)
            values = {"role": role, "secret": secret, "withdrawn": False}
            if there is None:
                connection.execute(sa.insert(ACCOUNTS).values(name=name, **values))
            else:
                connection.execute(sa.update(ACCOUNTS).where(ACCOUNTS.c.name == name).values(**values))
            action = "add account" if there is None else "change account"
            note_act(
                connection, who=self._folder.who, action=action, table=TABLE, file=name, new=f'{{"role":"{role}"}}'
            )
        return Account(name, role, secret, withdrawn=False)

    def withdraw(self, name: str, *, undo: bool = False) -> bool:
        """Close an account, or open it again.

        Parameters
        ----------
        name : str
            Whose.
        undo : bool, default False
            Open it again.

        Returns
        -------
        bool
            False where it was so already.

        Raises
        ------
        InputError
            If there is no such account, or no open owner would be left while others are open.
        """
        with self._folder.database.write() as connection:
            there = connection.execute(sa.select(ACCOUNTS).where(ACCOUNTS.c.name == name)).first()
            if there is None:
                known = sorted(connection.scalars(sa.select(ACCOUNTS.c.name)))
                accepted = f"one of {', '.join(known)}" if known else "an account: there is none yet"
                raise InputError(Problem(f"account '{name}'", accepted, hint=near_name(name, known)))
            if bool(there.withdrawn) is not undo:
                return False
            if not undo:
                _keep_an_owner(connection, name)
            connection.execute(sa.update(ACCOUNTS).where(ACCOUNTS.c.name == name).values(withdrawn=not undo))
            action = "undo withdraw account" if undo else "withdraw account"
            note_act(connection, who=self._folder.who, action=action, table=TABLE, file=name)
        return True


def _keep_an_owner(connection: sa.Connection, name: str) -> None:
    """Refuse an act on the last owner while others may sign in: nobody could undo it."""
    others = connection.execute(
        sa.select(ACCOUNTS.c.role).where(ACCOUNTS.c.withdrawn.is_(sa.false()), ACCOUNTS.c.name != name)
    ).all()
    if others and not any(row.role == "owner" for row in others):
        raise InputError(Problem(f"'{name}', the only owner", "one of several owners",
                                 hint="Make another account an owner first."))  # fmt: skip
