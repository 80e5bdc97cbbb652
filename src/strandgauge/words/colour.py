"""Colours in words: what a colour is called, and how it differs from another."""

from __future__ import annotations

from strandgauge.colour import names
from strandgauge.colour.cielab import Lab
from strandgauge.words import named, say


def colour_word(lab: Lab) -> str:
    """Return what a colour is called."""
    return named("colour", names.colour_word(lab))


def shade_name(name: str) -> str:
    """Return what a shade is called, such as 'lilac'; one typed as a colour stays as it was typed."""
    return named("shade", name)


def difference(lab: Lab, wanted: Lab) -> str:
    """Say how a colour differs from the wanted one, in one word or two; empty where it hardly does."""
    words = [say(f"differs.{word}") for word in names.difference_words(lab, wanted)[:2]]
    return say("list.two", first=words[0], second=words[1]) if len(words) > 1 else "".join(words)
