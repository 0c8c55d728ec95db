"""Studies: a room for each question. A room imports only from rooms on lower floors; a page's template lies with its question."""

FLOORS = (
    ("common",),
    ("drawing", "solved"),
    ("load", "modes", "notes", "plate", "squeeze", "sweep", "weather", "woods"),
    ("measured", "sustain", "tap"),
    ("check", "rim"),
    ("compare", "page", "pictures"),
    ("moves",),
)
