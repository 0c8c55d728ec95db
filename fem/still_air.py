"""Still air at 20 C."""

DENSITY, SPEED = 1.204, 343.2  # kg/m3 and m/s (textbook)
VISCOSITY = 1.81e-5  # Pa s (textbook)
