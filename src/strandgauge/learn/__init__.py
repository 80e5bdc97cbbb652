"""What the user teaches: levels, prints of the card, dyes; and where that is kept."""
