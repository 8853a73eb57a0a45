"""What all tests share."""

import gc
import os
from collections import Counter
from collections.abc import Generator

import hypothesis
import pytest
from xdist.remote import Producer
from xdist.scheduler import LoadFileScheduling

pytest_plugins = ["pytester"]

# The first call of a compiled function compiles it, which no deadline foresees.
hypothesis.settings.register_profile("reedbore", deadline=None, derandomize=True)
hypothesis.settings.load_profile("reedbore")

# While modules and tests are read nothing becomes garbage, and looking for it took a fifth of that
# time; what was read stays to the end, and need not be looked through again and again.
gc.disable()

USUAL_S = 4.0
"""Of a test that is marked slow without a number, or left to CI. [s]"""

EACH_ALONE = "test_benchmarks.py", "test_readme.py"
"""Files of few and long tests that share no fixture: any process may take the next one."""


def pytest_collection_finish() -> None:
    gc.freeze()
    gc.enable()


def _scope(nodeid: str) -> str:
    """Name what is run in one process: a file, for its fixtures are made once, or one test."""
    file = nodeid.partition("::")[0]
    return nodeid if file.endswith(EACH_ALONE) else file


class _ByFile(LoadFileScheduling):
    """Deals out files, but where nothing is shared single tests."""

    def _split_scope(self, nodeid: str) -> str:
        return _scope(nodeid)


@pytest.hookimpl
def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> _ByFile | None:
    return _ByFile(config, log) if config.getvalue("dist") == "loadfile" else None


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with what takes longest: a file that comes last keeps one core busy alone."""
    seconds = Counter[str]()
    for item in items:
        slow = item.get_closest_marker("slow")
        if slow or item.get_closest_marker("ci"):
            seconds[_scope(item.nodeid)] += slow.args[0] if slow and slow.args else USUAL_S
    items.sort(key=lambda item: -seconds[_scope(item.nodeid)])


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
