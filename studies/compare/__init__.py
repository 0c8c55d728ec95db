"""Whole sheets beside each other: what differs between them, and what that does."""
