"""The catalogue: what is said, for terminal, page and picture alike; the only place where sentences stand.

Domain code hands on codes and numbers (`strandgauge.codes.facts.Note`, verdicts, enumerations). Whoever shows them
asks for the words::

    say("change.levels", levels=1.6, verdict="lighter")      # by code, with the facts that the sentence names
    said(note)                                               # a Note, from the table [note]

The sentences are data, one file a language: tables of ``code = "sentence"``. A sentence names its facts in braces,
formatted as Python formats them (``{levels:.1f}``). Two things more are known:

- ``{zone:zone}`` says a fact that is itself a code, by the table after the colon: here ``[zone]``.
- A table with the key ``by`` is a choice: ``by = "zone"`` takes the entry named like that fact, and ``other`` where
  there is none; ``by = "levels:.1f"`` formats the fact first, so that "1.0 level" and "1.6 levels" can differ.

To add sentences, add a table to ``en.toml`` and say them with a literal key, or an f-string that begins with its
table (``say(f"zone.{name}")``); `tests/words` holds that every key said has an entry, every entry is said, and every
fact is given. A number that stands outside a sentence is written by `figure`, a day by `date`.

Words of calibration files (undertones, hues, colours; shades; dyes) are data, and are said as they stand in English.
Another language has tables of its own for them, ``[colour]``, ``[shade]`` and ``[dye]``, which `named` looks up and
its sentences name (``{hue:colour}``); and further ``[month]`` and ``[format]``: ``decimal``, ``percent``, and
``date`` with ``{day}``, ``{month}`` and ``{year}``.
"""

from strandgauge.codes.catalogue import Entry, date, entries, figure, named, said, say, sentence

__all__ = ["Entry", "date", "entries", "figure", "named", "said", "say", "sentence"]
