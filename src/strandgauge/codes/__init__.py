"""What is found out, as codes with their facts, and the catalogue that says them; the ground that errors stand on."""
