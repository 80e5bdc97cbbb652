"""The phone page and its JSON API: the same pipeline, answered over HTTP on the salon's own computer."""
