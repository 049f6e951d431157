"""What all tests share: fixed seeds, a cache of their own, and what a missing ngspice means."""

import os
import shutil
from pathlib import Path

import pytest
from hypothesis import settings

# The same examples in every run: a failure seen once can be seen again. No deadline: some machines
# are slow at times.
settings.register_profile("fixed", derandomize=True, deadline=None, max_examples=50)
settings.load_profile("fixed")


# Solved circuits are kept between runs, as for users, but never in the user's own cache directory.
os.environ.setdefault("BACKPROBE_CACHE", str(Path(__file__).parents[1] / "build" / "test-cache"))


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Leave a test out where ngspice is missing, except where nothing may be left out."""
    if item.get_closest_marker("needs_ngspice") is None or shutil.which("ngspice"):
        return
    message = "ngspice is not installed (sudo apt-get install ngspice); this comparison needs it"
    if os.environ.get("CI") == "true":
        pytest.fail(message, pytrace=False)
    pytest.skip(message)
