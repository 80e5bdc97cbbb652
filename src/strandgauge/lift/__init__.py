"""One strand over time: its looks, its lift curve, and whether to go on or to stop."""
