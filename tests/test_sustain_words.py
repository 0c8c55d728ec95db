"""The sustain study in words: the answer first, what stands behind it, tables for the terminal."""

import re
from dataclasses import replace
from types import SimpleNamespace

import pytest
from sustain_cases import study_by_hand, with_draws

from fem.fretboard import Wolf
from studies.common.note_names import place_name, wolf_name
from studies.common.words import change, percent_change, several, span
from studies.sustain.answer import answer, behind
from studies.sustain.hearing import AUDIBLE, CANNOT_TELL, NO_DIFFERENCE, TOLERANCES
from studies.sustain.result import SUPPORT_CONDITIONS, Judged
from studies.sustain.words import boards, matters, text

LEAD = "Do solid linings lengthen sustain? "


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return study_by_hand(tmp_path_factory.mktemp("words"))


def with_word(study, word, ratio, why=""):
    """The study with one verdict of solid linings, either way of holding; the beginning of the notes is not heard."""
    verdict = lambda w: SimpleNamespace(word=w, by_tolerance={t.name: w for t in TOLERANCES}, sentence="")
    one = Judged(ratio, {}, 0.99 * ratio, 1.01 * ratio, verdict(word), why, ())
    start = replace(one, ratio=1.004, verdict=verdict(NO_DIFFERENCE))
    new = lambda c: (
        replace(c, **vars(one), early=start, sound=one, flip=None) if c.build.name == "solid_laminated" else c
    )
    return replace(study, compared={key: new(c) for key, c in study.compared.items()})


def test_the_answer_is_short_and_comes_first(study):
    words = lambda *given: answer(with_word(study, *given))
    assert words(NO_DIFFERENCE, 1.01).startswith(LEAD + "No audible difference over the whole fretboard")
    assert words(CANNOT_TELL, 1.1).startswith(LEAD + "Cannot tell for this guitar")
    assert words(AUDIBLE, 1.6).startswith(LEAD + "Yes, audibly")
    faster = words(AUDIBLE, 0.6, "the stiffer rim decays faster because it radiates more")
    assert faster.startswith(LEAD + "No: they shorten it audibly")
    assert "The stiffer rim decays faster because it radiates more (hung free)." in faster
    found = words(NO_DIFFERENCE, 1.01)
    assert len(re.findall(r"[.?](?= |$)", found)) <= 5 and len(found) < 700
    assert "1.0 % longer hung free (0.0 to +2.0 % with every doubt computed)" in found
    assert "weigh 20 g more" in found and "1.6 MPa instead of 1.5 MPa" in found


def test_what_stands_behind_the_answer(study):
    found = behind(with_word(study, AUDIBLE, 1.6))
    assert "Single notes change more" in found and "is not predicted" in found
    assert "leave −25 to +40 %" in found and "leave ±5 %" in found
    assert (
        "By the beginning of the notes (the first 10 dB) alone the word would be another: hung free, 0.4 % longer"
        in found
    )
    assert "By the sound still to come" not in found
    assert "model itself is not known" in found and "whose losses are a range" in found
    assert (
        "in all the wood, 5.0 % shorter hung free and 5.0 % shorter on the lap; in joints and linings, 8.0 % shorter"
        in found
    )
    assert "would then have a loss factor of 0.7, the rim as given has 0.015): the doubt 'unexplained" in found
    assert "was not computed (wood scatter)" in found


def test_draws_of_the_wood_stand_apart(study):
    """Range of pairs, interval of the median and spread between guitars: three figures, none in place of another."""
    drawn = with_draws(study)
    found = behind(drawn)
    p = drawn.compared["solid_laminated", SUPPORT_CONDITIONS[0]].paired
    assert p.low < p.median < p.high and p.unpaired_high / p.unpaired_low > (p.high / p.low) ** 3
    assert span(p.low, p.high) in found and span(p.unpaired_low, p.unpaired_high) in found
    rows = boards(drawn)
    assert all(
        text in rows[2] for text in (percent_change(p.median), span(p.median_low, p.median_high), span(p.low, p.high))
    )
    assert len(rows) == 6 and boards(study) == []  # two ways to hold it
    assert rows[2] in text(drawn) and "not computed" not in text(drawn)


def test_a_sheet_with_solid_linings_is_asked_the_other_way_round(study):
    """Kerfed linings that let notes die 20 % earlier: the sheet's own solid ones let them last 25 % longer."""
    found = with_word(study, AUDIBLE, 0.8)
    rename = lambda build: replace(build, name="kerfed") if build.name == "solid_laminated" else build
    compared = {
        ("kerfed" if name == "solid_laminated" else name, how): replace(c, build=rename(c.build))
        for (name, how), c in found.compared.items()
    }
    of_kerfed = lambda values: values | {"kerfed": values["solid_laminated"]}
    builds = tuple(rename(b) for b in study.builds)
    words = answer(
        replace(
            found,
            compared=compared,
            builds=builds,
            rim_g=of_kerfed(study.rim_g),
            dry=replace(study.dry, builds=of_kerfed(study.dry.builds)),
        )
    )
    assert words.startswith(LEAD + "Yes, audibly") and "25.0 % longer" in words


def test_other_builds_are_told(study):
    """A copy of solid linings under another name stands for a third build that can be made."""
    found = with_word(study, NO_DIFFERENCE, 1.004)
    third = replace(study.builds[1], name="doubled_sides", label="doubled sides")
    add = lambda source: {
        ("doubled_sides", how): replace(source.compared["solid_laminated", how], build=third)
        for how in SUPPORT_CONDITIONS
    }
    quiet = replace(found, builds=(*found.builds, third), compared=found.compared | add(found))
    assert "No audible difference with doubled sides either (+0.4 %)." in answer(quiet)
    loud = replace(quiet, compared=found.compared | add(with_word(study, AUDIBLE, 1.5)))
    assert (
        "Other builds: doubled sides, audible difference hung free (+50.0 %); audible difference on the lap"
        in answer(loud)
    )


def test_the_summary_says_what_is_not_known(study):
    words = text(study)
    assert "takes" not in words.lower().split() and " nan" not in words
    assert not re.search(r"(?<![\w.])-\d", words.replace("  ", " "))  # minus signs, no hyphens
    assert "not the ratio of two medians" in words and "Note: The sheet has no neck." in words
    assert any("the model itself" in line for line in matters(study))


def test_where_the_verdict_does_not_flip_the_range_is_told(study):
    flips = [line for line in matters(study) if "times the rim's losses" in line]
    assert len(flips) == 2 and all(
        "with 2.5 times the rim's losses" in f and "becomes 'cannot tell'" in f for f in flips
    )
    still = matters(with_word(study, NO_DIFFERENCE, 1.0))
    assert (
        "no verdict flips between a tenth and ten times the losses of the whole rim (a mean loss factor of 0.0015 to 0.15)"
        in still
    )


def test_ratios_in_words():
    assert (percent_change(1.031), percent_change(0.969), percent_change(1.0001)) == ("+3.1 %", "−3.1 %", "0.0 %")
    assert (span(0.95, 1.05, 0), span(0.75, 1.4, 0), span(1.0, 1.02)) == ("±5 %", "−25 to +40 %", "0.0 to +2.0 %")
    assert span(1.0021, 1.0022) == "+0.2 %"
    assert change(0.9) == "10.0 % shorter" and change(1.0002) == "as long (within 0.1 %)"
    assert several("abc") == "a, b and c" and several("a") == "a"


def test_names_of_wolf_notes():
    at = lambda string, fret, frequency: Wolf(string, fret, frequency, frequency, 2.0, 3.0)
    assert wolf_name(range(6), at(2, 7, 220.0)) == "A3 on string 4, fret 7"
    assert wolf_name(range(6), at(5, 0, 329.6)) == "E4 on string 1, open"
    assert place_name(range(4), 0, 1) == "string 4, fret 1"
