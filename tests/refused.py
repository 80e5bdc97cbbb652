"""Expects an error by what it was raised with, whatever is said of it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from strandgauge.errors import StrandgaugeError


@contextmanager
def refused(kind: type[StrandgaugeError], /, fault: str, **facts: object) -> Iterator[pytest.ExceptionInfo]:
    """Hold that the block raises an error of this kind, with this fault and these facts among its own."""
    with pytest.raises(kind) as caught:
        yield caught
    assert dict(caught.value.facts) == dict(caught.value.facts) | {"fault": fault} | facts
