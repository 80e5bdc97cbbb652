"""strandgauge: read how far a hair strand has lifted, what warmth is left and how even it is."""

__version__ = "0.1.0"
