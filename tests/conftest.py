"""What all tests share."""

import os
from collections.abc import Generator

import hypothesis
import pytest

pytest_plugins = ["pytester"]

# The first call of a compiled function compiles it, which no deadline foresees.
hypothesis.settings.register_profile("reedbore", deadline=None, derandomize=True)
hypothesis.settings.load_profile("reedbore")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item,
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Fail a skipped sound test on CI, where `.ci/run install` has put all that it needs."""
    report = yield
    if report.skipped and os.environ.get("CI") and item.get_closest_marker("sound"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped, but CI has to run it: {report.longrepr}"
    return report
