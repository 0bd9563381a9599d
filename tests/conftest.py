"""What holds for all tests."""

import os
from collections.abc import Generator

import pytest
from hypothesis import settings

# No test fails on a time. In CI the examples are the same each time; elsewhere they are new ones.
settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") == "true" else "here")
_FOR_WANT = ("not installed", "no user postgres", "no Chromium")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """In CI nothing is skipped for want of a server: such a skip fails."""
    report = yield
    if not report.skipped or os.environ.get("CI") != "true" or hasattr(report, "wasxfail"):
        return report
    reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    if any(words in reason for words in _FOR_WANT):
        report.outcome = "failed"
        report.longrepr = f"in CI this may not be skipped: {reason}"
    return report
