"""Results as JSON documents, and back: the serialiser, and the shapes of the documents that are published."""

from strandgauge.show.json import shapes as _shapes  # noqa: F401 - so that every shape is known
from strandgauge.show.json.serialiser import Document, document_of, filled, load, record_of, short

__all__ = ["Document", "document_of", "filled", "load", "record_of", "short"]
