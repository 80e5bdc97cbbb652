"""What people and programs get to see: terminal text, JSON, the annotated picture."""
