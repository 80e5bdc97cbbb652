"""What can be put on hair: dyes, mixes, wanted shades, and whether they can be reached."""
