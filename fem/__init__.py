"""Plates, shells, beams and joints in scikit-fem: SI arrays in, SI arrays out; knows nothing of guitars."""
