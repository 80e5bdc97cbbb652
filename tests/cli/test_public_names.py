"""The public Python interface: every name is there, and none costs anything before it is used."""

from __future__ import annotations

import importlib
import subprocess
import sys

import pytest

import strandgauge


def test_importing_the_package_loads_nothing_heavy():
    report = "import sys, strandgauge; print(sorted({'numpy', 'cv2', 'scipy', 'typer'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", report], capture_output=True, check=True, text=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("name", strandgauge.__all__)
def test_each_public_name_is_the_one_its_own_module_defines(name):
    found = getattr(strandgauge, name)
    assert getattr(importlib.import_module(found.__module__), name) is found
    assert name in dir(strandgauge)


def test_a_name_that_is_not_there_is_missed_in_the_usual_way():
    with pytest.raises(AttributeError, match="'reed_photo'"):
        strandgauge.reed_photo  # noqa: B018 - the access is what is tested
