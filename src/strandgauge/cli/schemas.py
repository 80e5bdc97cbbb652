"""Writes the JSON Schemas of all published documents: ``python -m strandgauge.cli.schemas FOLDER``."""

from __future__ import annotations

import json
import sys
from pathlib import Path


def schema_files() -> dict[str, str]:
    """Return the text of each schema, by the name of its file."""
    import strandgauge.show.json.batch
    import strandgauge.show.json.learned
    import strandgauge.show.json.logbook
    import strandgauge.web.documents  # noqa: F401 - so that every shape is known
    from strandgauge.show.json.serialiser import published, schema_of

    return {
        f"{name.removeprefix('strandgauge.').replace('/', '-')}.json": json.dumps(schema_of(record), indent=2)
        + "\n"
        for name, record in sorted(published().items())
    }


if __name__ == "__main__":
    for file, text in schema_files().items():
        (Path(sys.argv[1]) / file).write_text(text, encoding="utf-8")
