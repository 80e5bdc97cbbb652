"""What follows from a reading: verdict, cautions, advice, what to do next."""
