"""What the maker measured, computed."""
