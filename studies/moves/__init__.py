"""What a workshop step moves: modes, loudness and weight of one sheet."""
