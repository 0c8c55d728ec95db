"""The price of a stiffer rim, beside any claim about sustain: what the driest air does to the plates of each rim build."""

import numpy as np

from fem.moisture import ROOM, equilibrium_moisture
from studies.common.kept import fingerprint, load_arrays, save_arrays
from studies.common.machine import rimwork_version
from studies.weather.readings import Places
from studies.weather.result import largest_pull, place_words
from studies.weather.solve import humidities, solve_swollen

STORE_VERSION = 1
PLATES = ("top", "back")


def drying(body, rows, model, store):
    """(humidity at glue-up, driest humidity in use [%], [{plate: (Pa, place in words)}] of each Build, Assumptions)."""
    built, used, assumed = humidities(body)
    driest = min(used)
    change = equilibrium_moisture(driest, ROOM) - equilibrium_moisture(built, ROOM)
    places, found = None, []
    for build in rows:
        mesh = model.space.mesh
        key = fingerprint(STORE_VERSION, rimwork_version(), build, built, driest, mesh.nodes, mesh.triangles)
        file = store / f"drying-{key}.npz"
        if (data := load_arrays(file)) is None or set(data) != {"stress", "place"}:
            places = places or Places(model, body)
            row = solve_swollen(build, model, places, False)
            pulls = {plate: largest_pull(row, plate, "linings", change) for plate in PLATES}
            words = ["" if at is None else place_words(places.near[plate][at]) for plate, (_, at) in pulls.items()]
            data = {"stress": np.array([pull for pull, _ in pulls.values()]), "place": np.array(words)}
            save_arrays(file, data)
        found.append({plate: (float(s), str(w)) for plate, s, w in zip(PLATES, data["stress"], data["place"])})
    return built, driest, found, assumed
