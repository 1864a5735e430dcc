"""What all tests share."""

from __future__ import annotations

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    """``pytest --update-golden`` writes the golden reports anew instead of comparing them."""
    parser.addoption("--update-golden", action="store_true", help="renew the reports under tests/golden")


@pytest.fixture
def update_golden(request: pytest.FixtureRequest) -> bool:
    """Whether golden reports are to be renewed."""
    return bool(request.config.getoption("--update-golden"))
