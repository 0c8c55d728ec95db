"""Sounds of notes, computed and recorded."""
