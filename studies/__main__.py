"""The command line: thin; heavy imports happen inside the commands."""

import codecs
import io
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, NoReturn, TextIO

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # many small products: threads cost more than they bring

from cyclopts import App, CycloptsError, Parameter, Token  # noqa: E402

from studies.common.inputs import COARSEST_MM, FINEST_MM, printer  # noqa: E402

app = App(
    name="rimwork",
    help="What a guitar's rim stores and turns to heat: the assembled box computed from your build sheet.",
    version_flags=["--version"],
    help_format="plaintext",
    suppress_keyboard_interrupt=False,
)


def decimal(_: type, tokens: Sequence[Token]) -> float:
    """A number with a decimal point or comma."""
    from meshes.lengths import number

    if (value := number(tokens[0].value)) is None:
        raise ValueError(f"'{tokens[0].value}' is no number; expected one such as 2.5 or 2,5")
    return value


def millimetres(_: type, tokens: Sequence[Token]) -> float:
    """mm of a length: a number in mm, or number or fraction with its unit."""
    from meshes.lengths import length

    text = tokens[0].value
    if (value := length(text, "mm")) is None or ("/" in text and value == length(text, "in")):
        raise ValueError(f"'{text}' is no length; expected one such as 2.5, 2,5, '3/32 in' or '8 1/4 in'")
    return value


Decimal = Annotated[float, Parameter(converter=decimal)]
Length = Annotated[float, Parameter(converter=millimetres)]
SEVERAL = Parameter(consume_multiple=True, negative=(), show_default=False)
Sheet = Annotated[Path, Parameter(help="The build sheet (.toml).")]
Out = Annotated[
    Path | None,
    Parameter(help="Folder for everything that is written; 'out/SHEET-COMMAND' if not given, as in 'out/hazel-rim'."),
]
MeshSize = Annotated[
    Length | None, Parameter(help=f"Edge length of the mesh of a build sheet, {FINEST_MM} to {COARSEST_MM} mm.")
]
Count = Annotated[int, Parameter(help="How many modes.")]
Strings = Annotated[str | None, Parameter(help="Name of a built-in set of strings, in place of the sheet's.")]
Pictures = Annotated[bool, Parameter(help="Draw pictures.")]
Held = Annotated[
    str, Parameter(help="How the guitar is held: 'lap', 'free', or 'played': on the lap, a hand at each note's fret.")
]
Names = Annotated[tuple[str, ...], SEVERAL]
Numbers = Annotated[tuple[float, ...], SEVERAL]
Recordings = Annotated[tuple[Path, ...], SEVERAL]


@app.command
def rim(
    sheet: Sheet, /, *, out: Out = None, mesh_size_mm: MeshSize = None, count: Count = 20, pictures: Pictures = True,
    air: bool = True,
) -> None:  # fmt: skip
    """Compare rim builds: what kerfed, reversed, solid linings and doubled sides change, with the sheet's own as the base.

    First with the air inside and outside, hung free and on the lap; then the dry box. What took long is kept in the folder
    'kept' beside it, for all commands, and used again. Richer elements and longer edges give the mesh error.

    Parameters
    ----------
    air
        With the enclosed air, the sound outside and the player; without it the dry box alone.
    """
    from studies.rim.question import compare_rims

    compare_rims(sheet, out, mesh_size_mm, count, pictures, air, printer(sheet))


@app.command
def compare(
    *sheets: Path, out: Path | None = None, mesh_size_mm: MeshSize = None, count: Count = 20, frets: int = 10,
    notes: bool = True, at_rest: bool = True, sounds: bool = False,
) -> None:  # fmt: skip
    """Whole sheets beside each other: what differs in words, whether it is heard, weights, modes, bridge tap, energies, notes.

    Each sheet is solved on its own mesh; a difference smaller than both mesh errors together is 'cannot tell'. What `rim` keeps of a
    sheet is used.

    Parameters
    ----------
    sheets
        Build sheets (.toml), two or more; the first is the one that the others are compared with.
    out
        Folder for everything that is written; 'out/A-B-compare' if not given.
    frets
        Highest fret of the few notes: every string, every fifth fret.
    notes
        Play a few notes: level, early and late decay.
    at_rest
        Under the strings and in dry air, too.
    sounds
        WAV files of the first sheet beside each other one, plain and blind.
    """
    from studies.compare.question import compare_sheets

    printer(sheets[0] if sheets else None)(
        compare_sheets(sheets, out, mesh_size_mm, count, frets, notes, at_rest, sounds)
    )


@app.command
def moves(
    sheet: Sheet, /, *, out: Out = None, mesh_size_mm: MeshSize = None, count: Count = 6, hole: bool = True
) -> None:
    """What moves what: what a tenth of a millimetre, a gram or another board does to each low mode, to loudness and to weight.

    Parameters
    ----------
    hole
        The soundhole's size too, which takes longest: it needs meshes of its own.
    """
    from studies.moves.question import what_moves_what

    printer(sheet)(what_moves_what(sheet, out, mesh_size_mm, count, hole))


@app.command
def modes(
    input: Path, /, *, parts: Path | None = None, count: Count = 20, mesh_size_mm: MeshSize = None,
    fix: Names = (), hold: Names = (), json: Path | None = None, export: Path | None = None, air: bool = False,
) -> None:  # fmt: skip
    """Natural frequencies of a build sheet or of any shell mesh, with energies by part.

    Parameters
    ----------
    input
        A build sheet (.toml), or a mesh with named groups (.msh, .vtu).
    parts
        The parts sheet of a foreign mesh: its materials, thicknesses, grain and beams.
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
        from studies.modes.air import air_table, find_modes_in_air

        if parts is not None or fix or hold or export is not None:
            raise BadInput("--air: goes with a build sheet alone; expected no --parts, --fix, --hold or --export")
        print(air_table(find_modes_in_air(input, count, mesh_size_mm, json)))
        return
    from studies.modes.question import find_modes, modes_table

    print(modes_table(find_modes(input, parts, count, mesh_size_mm, fix, hold, json, export)))
    print("Without air, radiation and strings.")


@app.command
def pictures(
    sheet: Sheet, /, *, out: Out = None, mesh_size_mm: MeshSize = None, count: Count = 12, builds: Names = (),
    width_mm: Length = 120.0, format: str = "png", dark: bool = False, moving: bool = False, air: bool = False,
    held: str = "free",
) -> None:  # fmt: skip
    """Mode pictures for print, each with a caption beside it: top and back in plan, the guitar in perspective.

    What other commands keep of the same sheet, in 'kept' beside the folder, is used again.

    Parameters
    ----------
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
        Modes with the air inside and outside, and what the builds do with the power; the dry box if not given.
    held
        How the guitar is held, with air: 'free' or 'lap'.
    """
    from studies.pictures.question import Wanted, draw_pictures

    printer(sheet)(
        draw_pictures(sheet, out, mesh_size_mm, Wanted(count, width_mm, format, dark, moving, air, held), builds)
    )


@app.command
def check(sheet: Sheet, /, *, out: Out = None) -> None:
    """Check a build sheet: areas, weights of every part, warnings, what is assumed; draw plan and section to scale."""
    from studies.check.question import check_sheet

    printer(sheet)(check_sheet(sheet, out))


@app.command
def new(file: Path, /, *, like: str | None = None) -> None:
    """Write a commented build sheet to fill in: only the measures are required.

    Parameters
    ----------
    file
        Name of the new sheet (.toml); an existing file is never overwritten.
    like
        A whole sheet of common sizes to change instead: small_steel, large_steel, twelve_fret_steel or nylon_fan.
    """
    from studies.check.question import write_new

    print(write_new(file, like))


@app.command
def squeeze(
    sheet: Sheet, /, *, out: Out = None, load_kg: Decimal = 2.0, mesh_size_mm: MeshSize = None, recording: Recordings = (),
    ruler_mm: Length | None = None, load_error_percent: Decimal | None = None, pictures: Pictures = True,
) -> None:  # fmt: skip
    """The open rim by itself, squeezed and twisted: deflections of each rim build, and which ones a ruler can tell apart.

    Parameters
    ----------
    load_kg
        Load of each squeeze.
    recording
        WAV files of the rim held in two fingers and tapped: their decay gives the rim's loss factor.
    ruler_mm
        Reading error of the ruler.
    load_error_percent
        Error of the load.
    """
    from studies.squeeze.question import squeeze_rims

    printer(sheet)(squeeze_rims(sheet, out, load_kg, mesh_size_mm, recording, pictures, ruler_mm, load_error_percent))


@app.command
def load(
    sheet: Sheet, /, *, out: Out = None, mesh_size_mm: MeshSize = None, strings: Strings = None, pictures: Pictures = True
) -> None:  # fmt: skip
    """What the strings' pull does: bridge, belly and dip, neck block and action, rim, of each rim build."""
    from studies.load.question import load_box

    printer(sheet)(load_box(sheet, out, mesh_size_mm, strings, pictures))


@app.command
def weather(
    sheet: Sheet, /, *, out: Out = None, mesh_size_mm: MeshSize = None, built_at_humidity_percent: Decimal | None = None,
    used_at_humidity_percent: Numbers = (), rim_gap_mm: Length | None = None, pictures: Pictures = True,
) -> None:  # fmt: skip
    """What dry and damp air do to the glued-up box: width, arch, and stress across the grain, of each rim build.

    Parameters
    ----------
    built_at_humidity_percent
        Relative humidity at glue-up.
    used_at_humidity_percent
        Relative humidities in use.
    rim_gap_mm
        How far the rim was from flat at glue-up, highest place to lowest.
    """
    from studies.weather.question import season_box

    used = used_at_humidity_percent or None
    printer(sheet)(season_box(sheet, out, mesh_size_mm, built_at_humidity_percent, used, rim_gap_mm, pictures))


@app.command
def sustain(
    sheet: Sheet, /, *, out: Out = None, mesh_size_mm: MeshSize = None, strings: Strings = None, frets: int = 20,
    modes: int = 60, draws: int = 20, pictures: Pictures = True,
) -> None:  # fmt: skip
    """Plucked notes on every rim build: how long they last, where their energy goes, and whether anybody could hear it.

    Every string and fret, hung free, on the lap, and played: on the lap, a hand at each note's fret, none at open strings. A second,
    coarser mesh gives the mesh error. What took long is kept in the folder: stopped at any time, the same command goes on from
    there.

    Parameters
    ----------
    frets
        Highest fret.
    modes
        How many modes of the box; they set the highest note that is answered for.
    draws
        How many sets of other boards of the same woods, for the wood scatter; 0 leaves it out.
    """
    from studies.sustain.question import compare_sustain

    printer(sheet)(compare_sustain(sheet, out, mesh_size_mm, modes, frets, draws, strings, pictures))


@app.command
def listen(
    sheet: Annotated[Path | None, Parameter(help="The build sheet (.toml).")] = None, /, *, builds: Names = (),
    notes: Names = (), held: Held = "lap",
    place_mm: Annotated[tuple[float, float, float] | None, Parameter(negative=())] = None, out: Out = None,
    mesh_size_mm: MeshSize = None, strings: Strings = None, blind: bool = True, pair: str = "given", reveal: Path | None = None,
) -> None:  # fmt: skip
    """WAV files of the same notes and a short phrase on two rim builds, at one gain, also in a hidden order.

    Parameters
    ----------
    builds
        Two builds, such as sheet, kerfed, solid_laminated, doubled_sides; the sheet's own and solid linings if not given.
    notes
        Notes in place of the built-in ones: E2, or D3+5 for string D3 at fret 5.
    place_mm
        Where it is heard: from the tail, from the centre line (bass side positive), out of the top; 1 m in front of the saddle
        if not given.
    blind
        Write the same sounds without names, in a hidden order, too.
    pair
        'given'; or 'smallest' or 'largest': with losses and pluck as far off as they may be, so that the two builds sound most
        alike or most apart; into a folder of that name.
    reveal
        Folder of blind sounds: tell the hidden order, and do nothing else.
    """
    from studies.common.inputs import BadInput
    from studies.notes.listen import Wanted, hidden_order, write_sounds
    from studies.sustain.pairs import chosen

    if reveal is not None:
        print(hidden_order(reveal))
        return
    if sheet is None:
        raise BadInput("listen: expected a build sheet, or --reveal FOLDER")
    printer(sheet)(
        write_sounds(sheet, out, mesh_size_mm, strings, Wanted(builds, notes, held, place_mm, blind, pair), chosen)
    )


@app.command
def note(
    *takes: str, sheet: Path | None = None, held: Held = "lap", out: Path | None = None, mesh_size_mm: MeshSize = None,
    strings: Strings = None,
) -> None:  # fmt: skip
    """How long notes last on your guitar: decays from WAV recordings of single notes, beside the computed ones.

    Parameters
    ----------
    takes
        NOTE=FILE of each recording, such as E2=take.wav, or D3+5=take.wav for string D3 at fret 5. One note a file, let
        ring out to silence.
    sheet
        Build sheet of the guitar: its computed notes stand beside. Without it the recordings are read alone.
    out
        What took long is kept in the folder 'kept' beside this one, for all commands; 'out/SHEET-sustain' if not given.
    """
    from studies.notes.question import read_notes

    printer(sheet)(read_notes(takes, sheet, out, held, mesh_size_mm, strings))


@app.command
def tap(
    sheet: Sheet, /, *takes: str, out: Out = None, held: str | None = None, mesh_size_mm: MeshSize = None,
    temperature_c: Decimal | None = None, humidity_percent: Decimal | None = None, pictures: Pictures = True,
) -> None:  # fmt: skip
    """Tones of your own guitar from recorded taps, with Q and uncertainties, beside the computed modes.

    Parameters
    ----------
    takes
        STAGE=FILE of each WAV recording of several taps, such as closed-box=take.wav; closed-box@hole=take.wav names the
        microphone's place. Stages: loose-top, loose-back, braced-top, braced-back, top-on-rim, back-on-rim, open-rim, closed-box, strung.
    held
        How the box was held: 'free', in soft bands, or 'lap'; as the sheet's 'closed_box_held' if not given.
    temperature_c
        Of the room.
    humidity_percent
        Relative humidity of the room.
    """
    from studies.tap.question import tap_guitar

    print(tap_guitar(sheet, takes, out, held, mesh_size_mm, temperature_c, humidity_percent, pictures))


@app.command
def page(
    sheet: Sheet, /, *, out: Path | None = None, mesh_size_mm: MeshSize = None, modes: bool = True, sustain: bool = True,
    weather: bool = True, sounds: bool = True,
) -> None:  # fmt: skip
    """One HTML file for the reader: the answer, where the energy goes, fretboard, dry air, modes in motion, sounds; no network.

    Uses what the other commands keep of the same sheet, in the folder 'kept' beside the file, and computes the rest.
    Richer elements and longer edges give the mesh error.

    Parameters
    ----------
    out
        The file; 'out/SHEET-page.html' if not given.
    modes
        The modes in motion.
    sustain
        Plucked notes and whether anybody could hear a difference.
    weather
        What dry and damp air do.
    sounds
        Computed sounds to play.
    """
    from studies.page.question import write_reader_page

    printer(sheet)(write_reader_page(sheet, out, mesh_size_mm, modes, weather, sustain, sounds))


@app.command
def sweep(
    plan: str, /, *, out: Path | None = None, workers: int | None = None, scheduler: str | None = None,
    sheet: Path | None = None, parquet: bool = False,
) -> None:  # fmt: skip
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
    from studies.sweep.question import run_sweep

    print(run_sweep(plan, out, workers, scheduler, sheet, parquet))


@app.command
def plate(
    *, length_mm: Annotated[Length, Parameter(alias="--length")], width_mm: Annotated[Length, Parameter(alias="--width")],
    thickness_mm: Annotated[Length, Parameter(alias="--thickness")], mass_g: Decimal, along_hz: Decimal | None = None,
    across_hz: Decimal | None = None, twist_hz: Decimal | None = None, other_hz: Numbers = (), recording: Recordings = (),
    wood: str | None = None, name: str = "measured_plate", out: Path | None = None,
) -> None:  # fmt: skip
    """Constants of your own board from its size, weight and two or three tap tones, typed or picked from recordings.

    Parameters
    ----------
    length_mm
        Length along the grain; mm, or with its unit: '22 1/16 in'.
    width_mm
        Width across the grain; likewise.
    thickness_mm
        Thickness; likewise.
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
    from studies.plate.question import Board, fit_board

    tones = along_hz, across_hz, twist_hz, other_hz, recording
    board = Board(length_mm, width_mm, thickness_mm, mass_g, *tones)
    print(fit_board(board, wood, name, out or Path("out") / name).text)


@app.command
def woods(*words: str) -> None:
    """List the woods that a sheet may name; of a few, all constants with source, range and scatter.

    Parameters
    ----------
    words
        Words that the name holds, such as spruce, or red spruce; all woods without any.
    """
    from studies.woods.question import list_woods

    print(list_woods(words))


@app.command
def schema() -> None:
    """Print the JSON schema of the build sheet, for editors that complete and check as you type."""
    import json

    from meshes.sheet import sheet_schema

    print(json.dumps(sheet_schema(), indent=1))


@app.command
def system_check() -> None:
    """Name what this machine lacks for meshing and pictures, and how to get it."""
    from studies.common.system_check import system_check as checked

    print(checked().text)


def main(arguments: list[str] | None = None) -> None:
    """Run a command; exit status 0, 2 with a line on standard error for bad input, 130 when stopped with Ctrl-C."""
    plain_signs(sys.stdout)
    try:
        try:
            app(arguments, exit_on_error=False, print_error=False)
        finally:
            sys.stdout.flush()  # here, where a reader that has gone is no fault
    except CycloptsError as error:
        fail(" ".join(str(error).split()) + "; see rimwork --help")
    except ValueError as error:
        # the contract of `modes` is one line; a build sheet's mistakes each have theirs
        fail(one_line(error) if command_of(arguments) == "modes" else str(error))
    except BrokenPipeError:
        no_more_readers()
    except (OSError, ImportError) as error:
        from studies.common.system_check import explain

        if (words := explain(error)) is not None:
            fail(words)
        if isinstance(error, ImportError):
            raise
        fail(f"{error.filename or 'a file could not be read or written'}: {error.strerror or error}")
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


def plain_signs(stream: TextIO) -> None:
    """Let a stream whose encoding cannot hold a sign write a plain one: a minus as a hyphen."""
    plain = {"−": "-", "–": "-", "±": "+/-", "°": "deg", "‘": "'", "’": "'", "×": "x", "µ": "u"}

    def told(error: UnicodeError) -> tuple[str, int]:
        if not isinstance(error, UnicodeEncodeError):
            raise error
        return "".join(plain.get(c, "?") for c in error.object[error.start : error.end]), error.end

    codecs.register_error("plain signs", told)
    if isinstance(stream, io.TextIOWrapper):
        stream.reconfigure(errors="plain signs")


def no_more_readers() -> NoReturn:
    """End without a word where whoever read the output has gone (`rimwork rim ... | head`)."""
    with open(os.devnull, "w", encoding="utf-8") as nowhere:  # what is still held back must not fail either
        os.dup2(nowhere.fileno(), sys.stdout.fileno())
    sys.exit(141)


def command_of(arguments: list[str] | None) -> str:
    words = sys.argv[1:] if arguments is None else arguments
    return words[0] if words else ""


def one_line(error: object) -> str:
    return "; ".join(line.strip() for line in str(error).splitlines() if line.strip())


def fail(text: str) -> NoReturn:
    from meshes.plain_text import printable

    print(f"rimwork: {printable(text)}", file=sys.stderr)
    sys.exit(2)


if __name__ == "__main__":
    main()
