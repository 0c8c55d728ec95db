"""The rim study with air in words, for page and terminal."""

from collections.abc import Iterator, Mapping

import numpy as np

from meshes.supports import FREE, LAP
from meshes.unexplained_loss import LARGEST
from studies.common.files import Plain
from studies.common.mesh_error import LIMIT, OF_TAP, change_error, mesh_error, mesh_errors, with_errors
from studies.common.words import (
    change_bars,
    decibels,
    joints_would_need,
    percent,
    percent_bars,
    points_beyond,
    several,
    signed,
)
from studies.rim.result import SUPPORT_CONDITIONS, WHOLE_RIM, AirStudy
from studies.solved.power import SUMMARY, bands, summary

LEAST_SHARE, LEAST_DB = 0.0005, 0.1  # smaller errors are not told: the figures are rounded
HOLDER = {FREE: "the bands it hangs on", LAP: "the player"}
LABEL = (
    "with the air inside and outside, without strings: says where power put in at the saddle goes; rimwork sustain tells how "
    "long notes last"
)
NOT_MODELLED = (
    "strings and their tension, the fretting hand, the player's bones",
    "the room: sound goes out into free air",
    "pores, roughness and leaks of the walls inside; friction at the sharp edge of the soundhole beyond that of a smooth tube; loud playing",
    "the neck, bridge and braces as obstacles to the sound outside",
    "finish, purfling, fret wires",
)


def answer(study: AirStudy) -> list[str]:
    """Plain sentences: what the sheet's own rim turns to heat and what the other builds change."""
    low, high = answered_range(study)
    lines = []
    for how in SUPPORT_CONDITIONS:
        table_of, grams = figures(study, how), lambda build, how=how: study.fine.results[build, how].rim_g
        own = table_of["sheet"]
        lines.append(
            f"{how.capitalize()}: of the power that a force at the saddle puts in between {low:.0f} and {high:.0f} Hz, "
            f"{percent_bars(own['rim'], own['rim_error'])} turns to heat in the rim as the sheet builds it, "
            f"{percent(own['radiation'], 0)} goes out as sound and {into(own['supports'])} into {HOLDER[how]}."
            + highest_bands(study, how)
        )
        for build in study.builds[1:]:
            if build.name != LIMIT:
                told = table_of[build.name]
                change = points_beyond(told["rim"] - own["rim"], max(told["rim_change_error"], LEAST_SHARE))
                more = f"{signed(grams(build.name) - grams('sheet'), 0)} g"
                lines.append(
                    f"- {build.label}: heat in the rim {percent(told['rim'])} ({change}); {loudness(told)}; {more}"
                )
    soft, firm = (100 * s["supports"] for s in study.firmness.values())
    bare, thick = (100 * study.clothing[how]["supports"] for how in ("bare", "thick"))
    player = (
        f"With the player's body three times softer or firmer its share on the lap is {soft:.0f} or {firm:.0f} %, "
        f"on bare skin or in thick clothes {bare:.0f} or {thick:.0f} %."
    )
    return [*lines, player, without_loss(study), unsure_losses(study), unexplained(study)]


def highest_bands(study: AirStudy, how: str) -> str:
    """' Near 630 and 800 Hz ...': heat in the sheet's own rim in the highest third octaves, where beyond its mesh error; or ''."""
    fine, errors = dict(bands(study.fine.results["sheet", how].driven)), band_errors(study, how)
    heat = [(hz, found["rim"], errors[hz]) for hz, found in fine.items() if hz in errors]
    last = list(fine)[-2:]
    highest = [(f"{hz}", percent_bars(share, e, 0)) for hz, share, e in heat if hz in last and share > e]
    if not highest:
        return ""
    near, shares = (several(words) for words in zip(*highest))
    return f" Near {near} Hz it is {shares}."


def answered_range(study: AirStudy) -> tuple[float, float]:
    """(low, high) Hz: the range of the figures for each build."""
    return SUMMARY[0], min(SUMMARY[1], study.fine.results["sheet", FREE].driven.valid_to)


def without_loss(study: AirStudy) -> str:
    """A sentence: what a rim that turns nothing to heat would bring, all else equal."""
    gain = " and ".join(f"{decibels(gain_without_loss(study, how))} {how}" for how in SUPPORT_CONDITIONS)
    return (
        f"Without any loss in the rim, and all else equal, the sound for the same force would change by {gain}: "
        "a build can do more than that by its stiffness and weight, not by turning less to heat."
    )


def gain_without_loss(study: AirStudy, how: str) -> float:
    """dB of radiated power for the same force if the rim of the sheet's own build had no loss."""
    none, own = (study.sensitivity[how, WHOLE_RIM, times]["radiated_w"] for times in (0.0, 1.0))
    return 10 * np.log10(none / own)


def into(share: float) -> str:
    return "less than 1 %" if share < 0.01 else percent(share, 0)


def unsure_losses(study: AirStudy) -> str:
    """A sentence: the part of the rim whose unmeasured loss factor moves the answer most, hung free."""
    dissipated = losses_table(study)[FREE]
    part = max(dissipated, key=lambda p: dissipated[p]["2.0"] - dissipated[p]["0.5"])
    return (
        f"Loss factors of the rim are hardly measured. Most hangs on its {part}: with half or twice their loss factor the rim "
        f"as the sheet builds it would turn {100 * dissipated[part]['0.5']:.1f} or {100 * dissipated[part]['2.0']:.1f} % to heat, hung free."
    )


def losses_table(study: AirStudy) -> dict[str, dict[str, dict[str, float]]]:
    """{how: {part of the rim: {times its loss factor: share turned to heat in the rim}}} of the sheet's own build."""
    table: dict[str, dict[str, dict[str, float]]] = {}
    for (how, part, times), values in study.sensitivity.items():
        if part != WHOLE_RIM:
            table.setdefault(how, {}).setdefault(part, {})[str(times)] = values["rim"]
    return table


def unexplained(study: AirStudy) -> str:
    """A sentence: what a loss that no part explains would do to the sheet's own rim and to what the builds change."""
    table = unexplained_table(study)
    rim = lambda place: " and ".join(f"{percent(of['sheet'][place]['rim'])} {how}" for how, of in table.items())
    told = "; ".join(f"{place}, {rim(place)}" for place in table[FREE]["sheet"])
    own = {how: figures(study, how) for how in SUPPORT_CONDITIONS}
    moved = max(
        abs(found["sound_db"] - own[how][name]["sound_db"])
        for how, of in table.items() for name, places in of.items() if name != LIMIT for found in places.values()
    )  # fmt: skip
    return (
        f"Published guitars lose up to {LARGEST:g} of loss factor more in their first resonances than the example guitars as computed; how "
        "much of it in their holders is not known. Were it in the guitar, alike in every build, the sheet's own rim would turn to heat, with "
        f"that loss {told} ({joints_would_need(study.unexplained_in_joints)}); and the builds' "
        f"changes of sound would be other by up to {moved:.1f} dB."
    )


def unexplained_table(study: AirStudy) -> dict[str, dict[str, dict[str, dict[str, float]]]]:
    """{how: {build: {place: {'rim': heat there, 'sound_db': against the sheet's own, both with the loss}}}}."""
    table: dict[str, dict[str, dict[str, dict[str, float]]]] = {}
    for (name, how, place), found in study.unexplained.items():
        sound = float(10 * np.log10(found["radiated_w"] / study.unexplained["sheet", how, place]["radiated_w"]))
        told = {"rim": found["rim"], "sound_db": sound}
        table.setdefault(how, {}).setdefault(name, {})[place] = told
    return table


def loudness(told: Mapping[str, float]) -> str:
    change, error = told["sound_db"], max(told["sound_db_error"], LEAST_DB)
    if abs(change) <= error:
        return f"sound for the same force as before, within {error:.1f} dB"
    return f"sound for the same force {change_bars(change, error, 1, 'dB')}"


def summary_text(study: AirStudy) -> str:
    """The answer for the terminal, the plain words first."""
    return "\n".join([f"{study.body.name}, {LABEL}", "", *answer(study)])


def measures(study: AirStudy) -> list[dict[str, Plain]]:
    """[{build, how, ...}]: the figures of every build on every support."""
    return [
        {
            "build": build.name, "label": build.label, "note": build.note, "how": how,
            "rim_g": study.fine.results[build.name, how].rim_g, **told[build.name],
        }
        for how, told in ((how, figures(study, how)) for how in SUPPORT_CONDITIONS) for build in study.builds
    ]  # fmt: skip


def figures(study: AirStudy, how: str) -> dict[str, dict[str, float]]:
    """{build: summary, with the mesh errors of it and of its change from the sheet's own}, on a support."""
    own, *others = (summary(row.driven) for row in study.own(how))
    errors, found = mesh_errors(own, *others), {}
    of_sound = mesh_error(*(10 * np.log10(row["radiated_w"]) for row in (own, *others)))
    for build in study.builds:
        fine = summary(study.fine.results[build.name, how].driven)
        sound = 10 * np.log10(fine["radiated_w"] / own["radiated_w"])
        told = {"sound_db": sound, "sound_db_error": change_error(of_sound, np.inf, sound, OF_TAP)}
        found[build.name] = with_errors(fine, own, errors) | told
    return found


def band_errors(study: AirStudy, how: str) -> dict[int, float]:
    """{third octave: mesh error of the heat in the sheet's own rim} where all three spaces answer for it."""
    own, *others = (dict(bands(row.driven)) for row in study.own(how))
    return {
        hz: mesh_error(own[hz]["rim"], *(other[hz]["rim"] for other in others))
        for hz in own
        if all(hz in other for other in others)
    }


def per_band(study: AirStudy) -> Iterator[dict[str, Plain]]:
    """One dict per build, support and third octave."""
    errors = {how: band_errors(study, how) for how in SUPPORT_CONDITIONS}
    for (name, how), row in study.fine.results.items():
        for middle, found in bands(row.driven):
            error = errors[how].get(middle)
            yield {"how": how, "build": name, "third_octave_hz": middle, **found, "rim_error": error}
