"""How far rows of a sweep lie from their full solves."""


def observed(store, keys):
    """The observed error in words."""
    checks = [c for key, c in store.checks().items() if key in set(keys.values())]
    if not checks:
        return "no reduced row was checked against a full solve"
    f = 100 * max(c.frequency_error for c in checks)
    shares = [100 * e for c in checks for e in (c.strain_error, c.heat_error) if e is not None]
    counted = [c for c in checks if c.modes_below is not None]
    wrong = sum(c.modes_below != c.modes_expected for c in counted)
    return (
        f"{len(checks)} rows checked against full solves: frequencies off by {f:.3f} % at most"
        + (f", any part's share in any mode by {max(shares):.2f} points at most" if shares else "")
        + decay_errors(checks)
        + f"; modes counted by inertia in {len(counted)} rows, {wrong} of them with modes missed"
    )


def decay_errors(checks):
    """', decay times of single notes by 1.2 % at most, their median by 0.1 %', or nothing."""
    found = [(c.decay_error, c.median_decay_error) for c in checks if c.decay_error is not None]
    if not found:
        return ""
    note, middle = (100 * max(v) for v in zip(*found))
    return f", decay times of single notes by {note:.2f} % at most, their median by {middle:.2f} %"
