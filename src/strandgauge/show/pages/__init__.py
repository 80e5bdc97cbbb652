"""Pages to look at: HTML files that hold everything they need and ask the network for nothing."""
