import pytest


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Fast tests first: a fault shows in seconds, not after the simulations."""
    items.sort(key=lambda item: item.get_closest_marker("slow") is not None)
