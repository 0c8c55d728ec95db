"""The command line: thin; heavy imports happen inside the commands."""

import codecs
import io
import os
import sys
from pathlib import Path
from typing import Annotated

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # many small products: threads cost more than they bring

from cyclopts import App, CycloptsError, Parameter  # noqa: E402

app = App(
    name="rimwork",
    help="What a guitar's rim stores and turns to heat: the assembled box computed from your build sheet.",
    version_flags=["--version"],
    suppress_keyboard_interrupt=False,
)
Names = Annotated[list[str], Parameter(consume_multiple=True, negative=())]


@app.command
def rim(
    sheet: Path,
    /,
    *,
    out: Path | None = None,
    mesh_size_mm: float | None = None,
    count: int = 20,
    pictures: bool = True,
    air: bool = True,
):
    """Compare rim builds: what kerfed, reversed, solid linings and doubled sides change, with the sheet's own as the base.

    First with the air inside and outside, hung free and on the lap; then the dry box.

    Parameters
    ----------
    sheet
        The build sheet (.toml).
    out
        Folder for page, tables and pictures; 'out/SHEET-rim' if not given. Rows already there are used again.
    mesh_size_mm
        Edge length of the mesh. A second, coarser mesh gives the mesh error.
    count
        How many modes.
    pictures
        Draw the mode pictures.
    air
        With the enclosed air, the sound outside and the player; without it the dry box alone.
    """
    from studies.rim.question import main

    print(main(sheet, out, mesh_size_mm, count, pictures, air))


@app.command
def modes(
    input: Path,
    /,
    *,
    parts: Path | None = None,
    count: int = 20,
    mesh_size_mm: float | None = None,
    fix: Names = [],  # noqa: B006
    hold: Names = [],  # noqa: B006
    json: Path | None = None,
    export: Path | None = None,
    air: bool = False,
):
    """Natural frequencies of a build sheet or of any shell mesh, with energies by part.

    Parameters
    ----------
    input
        A build sheet (.toml), or a mesh with named groups (.msh, .vtu).
    parts
        The parts sheet of a foreign mesh: its materials, thicknesses, grain and beams.
    count
        How many elastic modes.
    mesh_size_mm
        Edge length of the mesh of a build sheet.
    fix
        Parts or edges to clamp.
    hold
        Parts or edges to hold in place, free to turn.
    json
        File for the results.
    export
        Folder for the matrices of every part and the mesh.
    air
        Couple a build sheet's modes with the enclosed air and the sound outside.
    """
    if air:
        from studies.common.inputs import BadInput
        from studies.modes import air as with_air

        if parts is not None or fix or hold or export is not None:
            raise BadInput("--air: goes with a build sheet alone; expected no --parts, --fix, --hold or --export")
        print(with_air.table(with_air.run(input, count, mesh_size_mm, json)))
        return
    from studies.modes.question import run, table

    result = run(input, parts, count, mesh_size_mm, fix, hold, json, export)
    print(table(result))
    print("Without air, radiation and strings.")


@app.command
def pictures(
    sheet: Path,
    /,
    *,
    out: Path | None = None,
    mesh_size_mm: float | None = None,
    count: int = 12,
    builds: Names = [],  # noqa: B006
    width_mm: float = 120.0,
    format: str = "png",
    dark: bool = False,
    moving: bool = False,
    air: bool = False,
):
    """Mode pictures for print, each with a caption beside it: top and back in plan, the guitar in perspective.

    Parameters
    ----------
    sheet
        The build sheet (.toml).
    out
        Folder for the pictures; 'out/SHEET-pictures' if not given. Rows in 'out/SHEET-rim' are used again.
    mesh_size_mm
        Edge length of the mesh.
    count
        How many modes.
    builds
        Rim builds to draw beside the sheet's own, mode by mode with one sign and one scale.
    width_mm
        Width in print of a picture, at 300 dpi.
    format
        Of the plan views: png, svg or pdf.
    dark
        Draw everything for a dark page too.
    moving
        Moving pictures (GIF, and MP4 where ffmpeg is found) of the first modes and of a pluck.
    air
        Modes with the air inside and outside, hung free; the dry box if not given.
    """
    from studies.pictures.question import Wanted, main

    print(main(sheet, out, mesh_size_mm, Wanted(count, width_mm, format, dark, moving, air), builds))


@app.command
def check(sheet: Path, /, *, out: Path | None = None):
    """Check a build sheet: areas, weights of every part, warnings, what is assumed; draw plan and section to scale.

    Parameters
    ----------
    sheet
        The build sheet (.toml).
    out
        Folder for the drawings; 'out/SHEET-check' if not given.
    """
    from studies.check.question import main

    print(main(sheet, out))


@app.command
def new(file: Path, /):
    """Write a commented build sheet to fill in: only the measures are required.

    Parameters
    ----------
    file
        Name of the new sheet (.toml); an existing file is never overwritten.
    """
    from studies.check.question import write_new

    print(write_new(file))


@app.command
def squeeze(
    sheet: Path,
    /,
    *,
    out: Path | None = None,
    load_kg: float = 2.0,
    mesh_size_mm: float | None = None,
    recording: Annotated[list[Path], Parameter(consume_multiple=True, negative=())] = [],  # noqa: B006
    ruler_mm: float | None = None,
    load_error_percent: float | None = None,
    pictures: bool = True,
):
    """The open rim by itself, squeezed and twisted: deflections of each rim build, and which ones a ruler can tell apart.

    Parameters
    ----------
    sheet
        The build sheet (.toml).
    out
        Folder for tables and picture; 'out/SHEET-squeeze' if not given.
    load_kg
        Load of each squeeze.
    mesh_size_mm
        Edge length of the mesh.
    recording
        WAV files of the rim held in two fingers and tapped: their decay gives the rim's loss factor.
    ruler_mm
        Reading error of the ruler.
    load_error_percent
        Error of the load.
    pictures
        Draw the squeezed rim.
    """
    from studies.squeeze.question import main

    print(main(sheet, out, load_kg, mesh_size_mm, None, recording, pictures, ruler_mm, load_error_percent))


@app.command
def load(
    sheet: Path,
    /,
    *,
    out: Path | None = None,
    mesh_size_mm: float | None = None,
    strings: str | None = None,
    pictures: bool = True,
):
    """What the strings' pull does: bridge, belly and dip, neck block and action, rim, of each rim build.

    Parameters
    ----------
    sheet
        The build sheet (.toml).
    out
        Folder for page, tables and pictures; 'out/SHEET-load' if not given.
    mesh_size_mm
        Edge length of the mesh.
    strings
        Name of a built-in set of strings, in place of the sheet's.
    pictures
        Draw the fields.
    """
    from studies.load.question import main

    print(main(sheet, out, mesh_size_mm, strings, pictures))


@app.command
def weather(
    sheet: Path,
    /,
    *,
    out: Path | None = None,
    mesh_size_mm: float | None = None,
    built_at_humidity_percent: float | None = None,
    used_at_humidity_percent: Annotated[list[float], Parameter(consume_multiple=True, negative=())] = [],  # noqa: B006
    rim_gap_mm: float | None = None,
    pictures: bool = True,
):
    """What dry and damp air do to the glued-up box: width, arch, and stress across the grain, of each rim build.

    Parameters
    ----------
    sheet
        The build sheet (.toml).
    out
        Folder for page, tables and pictures; 'out/SHEET-weather' if not given.
    mesh_size_mm
        Edge length of the mesh.
    built_at_humidity_percent
        Relative humidity at glue-up.
    used_at_humidity_percent
        Relative humidities in use.
    rim_gap_mm
        How far the rim was from flat at glue-up, highest place to lowest.
    pictures
        Draw the fields.
    """
    from studies.weather.question import main

    used = used_at_humidity_percent or None
    print(
        main(
            sheet,
            out,
            mesh_size_mm,
            built_at_humidity_percent,
            used,
            rim_gap_mm,
            pictures=pictures,
        )
    )


@app.command
def sustain(
    sheet: Path,
    /,
    *,
    out: Path | None = None,
    mesh_size_mm: float | None = None,
    strings: str | None = None,
    frets: int = 20,
    modes: int = 60,
    draws: int = 20,
    pictures: bool = True,
):
    """Plucked notes on every rim build: how long they last, where their energy goes, and whether anybody could hear it.

    Every string and fret, hung free and on the lap. What took long is kept in the folder: stopped at any time, the same
    command goes on from there.

    Parameters
    ----------
    sheet
        The build sheet (.toml).
    out
        Folder for page, tables and pictures; 'out/SHEET-sustain' if not given.
    mesh_size_mm
        Edge length of the mesh. A second, coarser mesh gives the mesh error.
    strings
        Name of a built-in set of strings, in place of the sheet's.
    frets
        Highest fret.
    modes
        How many modes of the box; they set the highest note that is answered for.
    draws
        How many sets of other boards of the same woods, for the wood scatter; 0 leaves it out.
    pictures
        Draw the fretboard maps.
    """
    from studies.sustain.question import main

    print(main(sheet, out, mesh_size_mm, modes, frets, draws, strings, pictures))


@app.command
def listen(
    sheet: Path | None = None,
    /,
    *,
    builds: Names = [],  # noqa: B006
    notes: Names = [],  # noqa: B006
    held: str = "lap",
    place_mm: Annotated[tuple[float, float, float] | None, Parameter(negative=())] = None,
    out: Path | None = None,
    mesh_size_mm: float | None = None,
    strings: str | None = None,
    blind: bool = True,
    reveal: Path | None = None,
):
    """WAV files of the same notes and a short phrase on two rim builds, at one gain, also in a hidden order.

    Parameters
    ----------
    sheet
        The build sheet (.toml).
    builds
        Two builds, such as sheet, kerfed, solid_laminated, doubled_sides; the sheet's own and solid linings if not given.
    notes
        Notes in place of the built-in ones: E2, or D3+5 for string D3 at fret 5.
    held
        'lap' or 'free'.
    place_mm
        Where it is heard: from the tail, from the centre line (bass side positive), out of the top; 1 m in front of the saddle
        if not given.
    out
        Folder for the sounds; 'out/SHEET-listen' if not given.
    mesh_size_mm
        Edge length of the mesh.
    strings
        Name of a built-in set of strings, in place of the sheet's.
    blind
        Write the same sounds without names, in a hidden order, too.
    reveal
        Folder of blind sounds: tell the hidden order, and do nothing else.
    """
    from studies.common.inputs import BadInput
    from studies.notes import listen as study
    from studies.notes.question import held as how

    if reveal is not None:
        print(study.told(reveal))
        return
    if sheet is None:
        raise BadInput("listen: expected a build sheet, or --reveal FOLDER")
    print(study.main(sheet, out, tuple(builds), how(held), mesh_size_mm, strings, notes, place_mm, blind))


@app.command
def note(
    *takes: str,
    sheet: Path | None = None,
    held: str = "lap",
    out: Path | None = None,
    mesh_size_mm: float | None = None,
    strings: str | None = None,
):
    """How long notes last on your guitar: decays from WAV recordings of single notes, beside the computed ones.

    Parameters
    ----------
    takes
        NOTE=FILE of each recording, such as E2=take.wav, or D3+5=take.wav for string D3 at fret 5. One note a file, let
        ring out to silence.
    sheet
        Build sheet of the guitar: its computed notes stand beside. Without it the recordings are read alone.
    held
        How the guitar was held: 'lap' or 'free'.
    out
        Folder that keeps what took long; 'out/SHEET-sustain' if not given, which 'sustain' shares.
    mesh_size_mm
        Edge length of the mesh.
    strings
        Name of a built-in set of strings, in place of the sheet's.
    """
    from studies.notes.question import held as how
    from studies.notes.question import main

    print(main(takes, sheet, out, how(held), mesh_size_mm, strings))


@app.command
def page(
    sheet: Path,
    /,
    *,
    out: Path | None = None,
    mesh_size_mm: float | None = None,
    modes: bool = True,
    sustain: bool = True,
    weather: bool = True,
    sounds: bool = True,
):
    """One HTML file for the reader: the answer, where the energy goes, fretboard, dry air, modes in motion, sounds; no network.

    Uses what the other commands have computed of the same sheet in the folder 'out', and computes the rest.

    Parameters
    ----------
    sheet
        The build sheet (.toml).
    out
        The file; 'out/SHEET-page.html' if not given.
    mesh_size_mm
        Edge length of the mesh. A second, coarser mesh gives the mesh error.
    modes
        The modes in motion.
    sustain
        Plucked notes and whether anybody could hear a difference.
    weather
        What dry and damp air do.
    sounds
        Computed sounds to play.
    """
    from studies.page.question import main

    print(main(sheet, out, mesh_size_mm, modes, weather, sustain, sounds))


@app.command
def sweep(
    plan: str,
    /,
    *,
    out: Path | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    sheet: Path | None = None,
    parquet: bool = False,
):
    """Run a night's plan of variants; stopped at any time, the same command goes on where it was.

    Parameters
    ----------
    plan
        A plan (.toml), or the name of a ready one.
    out
        Folder for the rows and the page.
    workers
        Processes; all cores if not given.
    scheduler
        Address of a running scheduler, for a cluster.
    sheet
        Build sheet in place of the plan's own.
    parquet
        Write the table as Parquet too.
    """
    from studies.sweep.question import main

    print(main(plan, out, workers, scheduler, sheet, parquet))


@app.command
def plate(
    *,
    length_mm: float,
    width_mm: float,
    thickness_mm: float,
    mass_g: float,
    along_hz: float | None = None,
    across_hz: float | None = None,
    twist_hz: float | None = None,
    other_hz: Annotated[list[float], Parameter(consume_multiple=True, negative=())] = [],  # noqa: B006
    recording: Annotated[list[Path], Parameter(consume_multiple=True, negative=())] = [],  # noqa: B006
    wood: str | None = None,
    name: str = "measured_plate",
    out: Path | None = None,
):
    """Constants of your own board from its size, weight and two or three tap tones, typed or picked from recordings.

    Parameters
    ----------
    length_mm
        Length along the grain.
    width_mm
        Width across the grain.
    thickness_mm
        Thickness.
    mass_g
        Weight.
    along_hz
        Tone of the bending along the grain.
    across_hz
        Tone of the bending across the grain.
    twist_hz
        Tone of the twist.
    other_hz
        Further tones, to compare.
    recording
        WAV files of taps.
    wood
        Wood of the library that lends what is not measured; the nearest one if not given.
    name
        Name of the new wood, for a [wood.NAME] table of a build sheet.
    out
        Folder for the wood entry and the picture; 'out/NAME' if not given.
    """
    from studies.plate.question import main

    main(
        length_mm, width_mm, thickness_mm, mass_g, along_hz, across_hz, twist_hz, other_hz, recording, wood, name,
        out=out or Path("out") / name,
    )  # fmt: skip


@app.command
def schema():
    """Print the JSON schema of the build sheet, for editors that complete and check as you type."""
    import json

    from meshes.sheet import sheet_schema

    print(json.dumps(sheet_schema(), indent=1))


@app.command
def system_check():
    """Name what this machine lacks for meshing and pictures, and how to get it."""
    from studies.common.system_check import main

    print(main())


def main(arguments=None):
    """Run a command; exit status 0, 2 with a line on standard error for bad input, 130 when stopped with Ctrl-C."""
    plain_signs(sys.stdout)
    try:
        app(arguments, exit_on_error=False, print_error=False)
    except CycloptsError as error:
        fail(" ".join(str(error).split()) + "; see rimwork --help")
    except ValueError as error:
        # the contract of `modes` is one line; a build sheet's mistakes each have theirs
        fail(one_line(error) if command_of(arguments) == "modes" else str(error))
    except (OSError, ImportError) as error:
        from studies.common.system_check import explain

        if (words := explain(error)) is not None:
            fail(words)
        if isinstance(error, ImportError):
            raise
        fail(f"{error.filename or ''}: {error.strerror or error}")
    except ArithmeticError as error:
        fail(one_line(error))
    except MemoryError:
        fail("not enough memory for this mesh; expected a larger --mesh-size-mm")
    except Exception as error:
        if os.environ.get("RIMWORK_DEBUG"):
            raise
        print(f"rimwork: a fault of the program: {one_line(repr(error))}; please report it", file=sys.stderr)
        sys.exit(1)
    except KeyboardInterrupt:
        print("\nstopped; rows already written are kept, and the same command goes on from there", file=sys.stderr)
        sys.exit(130)


def plain_signs(stream):
    """Let a stream whose encoding cannot hold a sign write a plain one: a minus as a hyphen."""
    plain = {"−": "-", "–": "-", "±": "+/-", "°": "deg", "‘": "'", "’": "'", "×": "x", "µ": "u"}
    told = lambda error: ("".join(plain.get(c, "?") for c in error.object[error.start : error.end]), error.end)
    codecs.register_error("plain signs", told)
    if isinstance(stream, io.TextIOWrapper):
        stream.reconfigure(errors="plain signs")


def command_of(arguments):
    words = sys.argv[1:] if arguments is None else arguments
    return words[0] if words else ""


def one_line(error):
    return "; ".join(line.strip() for line in str(error).splitlines() if line.strip())


def fail(text):
    print(f"rimwork: {text}", file=sys.stderr)
    sys.exit(2)


if __name__ == "__main__":
    main()
