"""A folder of photos becomes a table: found, read on all cores, written as they come, taken up again."""
