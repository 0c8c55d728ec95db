"""What is solved once and asked by many."""
