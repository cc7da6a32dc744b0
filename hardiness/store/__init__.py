"""The store: records in a database, uploads and parts of readings beside it."""

from hardiness.store.intake import Intake
from hardiness.store.records import Change
from hardiness.store.store import Store, open_store
from hardiness.store.withdrawals import Withdrawal

__all__ = ["Change", "Intake", "Store", "Withdrawal", "open_store"]
