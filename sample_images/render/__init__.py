"""Renders photographs of hair strands on the card whose true colour is known, by physics of their own.

Nothing here imports the measuring package: what it measures is judged by these pictures.
"""
