"""What is known of hair: its levels, its warmth, its pigments; no pixel and no card in here."""
