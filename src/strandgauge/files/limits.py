"""How long what people type may be, wherever it is typed: command line, page, API or file."""

from __future__ import annotations

LONGEST_NAME = 80
"""Letters in the name of a client, a strand, or something learned."""
LONGEST_TARGET = 200
"""Letters in a wanted shade, a colour typed in included."""
LONGEST_NOTE = 4000
LONGEST_LIMIT = 24 * 60.0
"""Minutes in a time limit."""
