"""Photos of one strand as they arrive: from a folder, a camera or a film, followed until somebody stops it."""
