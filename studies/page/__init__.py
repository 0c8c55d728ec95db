"""Everything on one page for readers."""
