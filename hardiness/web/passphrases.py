"""Passphrases: what is accepted, how they are hashed (argon2id) and checked.

The cost is that of argon2-cffi's low-memory profile of RFC 9106 (section 4): 64 MiB, 3 passes.
"""

from __future__ import annotations

import argon2
from argon2.exceptions import InvalidHashError, VerificationError

from hardiness.errors import InputError, Problem

SHORTEST, LONGEST = 12, 200  # characters; three or four words
_HASHER = argon2.PasswordHasher.from_parameters(argon2.profiles.RFC_9106_LOW_MEMORY)
# The hash of a passphrase that nobody has: checked where a name is unknown, so that both take the same time.
_NOBODY = _HASHER.hash("nobody has this passphrase")


def hash_passphrase(passphrase: str) -> str:
    """Hash a passphrase.

    Parameters
    ----------
    passphrase : str

    Returns
    -------
    str

    Raises
    ------
    InputError
        If it is too short or too long.
    """
    if not SHORTEST <= len(passphrase) <= LONGEST:
        accepted = f"{SHORTEST} to {LONGEST} characters, such as four words"
        raise InputError(Problem(f"a passphrase of {len(passphrase)} characters", accepted, column="passphrase"))
    return _HASHER.hash(passphrase)


def is_passphrase(secret: str | None, passphrase: str) -> bool:
    """Whether a passphrase is the one that was hashed.

    Parameters
    ----------
    secret : str or None
        The hash; None where the name is unknown: as slow, and never right.
    passphrase : str
        What was typed.

    Returns
    -------
    bool
    """
    if len(passphrase) > LONGEST:
        return False
    try:
        right = _HASHER.verify(secret or _NOBODY, passphrase)
    except (VerificationError, InvalidHashError):
        return False
    return right and secret is not None
