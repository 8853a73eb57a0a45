"""What all tests of commands share."""

import pytest

from reedbore.cli import common


@pytest.fixture(autouse=True)
def _nothing_takes_long(monkeypatch: pytest.MonkeyPatch) -> None:
    """Work that takes long is named on stderr: what is told must not depend on the machine."""
    monkeypatch.setattr(common, "QUIET_S", 1e6)
