import os

import pytest

# The checker of the CF conventions brings lxml, which openpyxl would take; who installs the package alone has none.
os.environ.setdefault("OPENPYXL_LXML", "False")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Fast tests first: a fault shows in seconds, not after the simulations."""
    items.sort(key=lambda item: item.get_closest_marker("slow") is not None)
