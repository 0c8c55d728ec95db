"""Modes and fields drawn, and told in words."""
