"""What holds in every test."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest


@pytest.fixture(autouse=True)
def floating_point_errors_are_raised() -> Iterator[None]:
    """Overflow, division by zero and invalid operations of numpy end a test, also where warnings are silenced."""
    with np.errstate(divide="raise", over="raise", invalid="raise"):
        yield
