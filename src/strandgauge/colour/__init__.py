"""Colour: CIELAB, XYZ, sRGB and CIEDE2000 for D65, and the names of colours."""
