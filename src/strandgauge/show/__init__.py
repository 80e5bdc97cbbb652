"""Results for people and programs, a room for each medium."""
