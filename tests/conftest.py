"""What all tests share."""

import os
from collections import Counter
from collections.abc import Generator

import hypothesis
import pytest

pytest_plugins = ["pytester"]

# The first call of a compiled function compiles it, which no deadline foresees.
hypothesis.settings.register_profile("reedbore", deadline=None, derandomize=True)
hypothesis.settings.load_profile("reedbore")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files of most slow tests: one that comes last keeps one core busy alone."""
    slow = Counter(item.path for item in items if item.get_closest_marker("slow"))
    items.sort(key=lambda item: -slow[item.path])


INSTALLED_ON_CI = "sound", "browser", "compiler"
"""Markers of tests that need what `.ci/run install` installs."""


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item,
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Fail a skipped test on CI if all that it needs is installed there."""
    report = yield
    needed = any(item.get_closest_marker(name) for name in INSTALLED_ON_CI)
    if report.skipped and needed and os.environ.get("CI"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped, but CI has to run it: {report.longrepr}"
    return report
