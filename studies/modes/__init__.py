"""Natural frequencies for machines."""
