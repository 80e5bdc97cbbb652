"""Python runs this when it starts with this folder on its path, as the processes that tests start do.

It says every code of the catalogue in place of its sentence: see ``--wordless`` in ``tests/conftest.py``.
"""

from strandgauge.codes import catalogue

_CODES = {key: f"~{key}~" for key in catalogue.entries()}
catalogue.entries = lambda: _CODES
