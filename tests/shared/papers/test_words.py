"""Every language has every word, with the same values in it, and letters for all of it."""

import itertools
import re
import string
from pathlib import Path

import numpy as np
import pytest
from PIL import ImageFont

import device
import shared
from shared.inflow.map_values import CLASS_WORDS, NAMES
from shared.papers.font import paper_font, wrapped
from shared.papers.words import ENGLISH, LANGUAGES, words_in
from tests.web_ui.device_sentences import HOME, sentences

SOURCE = "".join(
    file.read_text(encoding="utf-8") for package in (shared, device) for file in Path(package.__path__[0]).rglob("*.py")
)


ELSEWHERE = (
    "the tissue has been lost from sight",
    "nothing in the picture lets the hand's motion be followed: hold still",
    " and ",
)
"""How begins what the live picture says, which is in no map; and the end of a row of moments."""


def values(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


@pytest.mark.parametrize("language", LANGUAGES)
def test_each_language_says_the_same(language):
    words = words_in(language)
    assert set(words.texts) == set(ENGLISH.texts)
    assert set(words.sentences) == set(ENGLISH.sentences)
    for name, text in ENGLISH.texts.items():
        assert values(words.texts[name]) == values(text), name
    for line, said in words.sentences.items():
        assert values(said) == values(line), line
    if language != "en":
        assert not {name for name in words.sentences if words.sentences[name] == name}


def test_english_is_what_the_device_writes():
    assert all(line == said for line, said in ENGLISH.sentences.items())
    assert set(CLASS_WORDS[1:4]) <= set(ENGLISH.sentences)


@pytest.mark.parametrize("language", ["de", "es"])
def test_all_that_is_said_of_maps_is_on_their_pictures_in_that_language(language):
    """What the device may write beneath a map, from its source, with a number in each gap."""
    spans = {"{} frames without motion lock are left out of every curve: {}": "3.25 to 4.5 s, 7.5 s and 2 shorter ones"}
    numbers = map(str, itertools.count(3))
    found = 0
    of_maps = "maps.py", "maps_slots.py", "maps_reference.py", "ambient_steps.py", "ambient_told.py"
    for file in (*(f"inflow/{name}" for name in of_maps), "motion/track.py", "nearing.py"):
        for one in sentences(HOME / "shared" / file):
            if one.is_line or one.template.startswith(ELSEWHERE):
                continue
            *pieces, last = one.template.split("{}")
            given = [next(numbers) for _ in pieces]
            if one.template in spans:
                given[-1] = spans[one.template]
            line = "".join(piece + value for piece, value in zip(pieces, given, strict=True)) + last
            said = words_in(language).said(line)
            assert said != line, line
            assert all(value in said for value in given if value.isdigit()), said
            found += 1
    assert found >= 14


def test_values_within_a_sentence_are_said_too():
    line = "9 frames without motion lock are left out of every curve: 3.2 to 4.0 s, 7.1 s and 2 shorter ones"
    said = {language: words_in(language).said(line) for language in LANGUAGES}
    assert said["en"] == line
    assert said["de"].endswith("ausgelassen: 3,2 bis 4,0 s, 7,1 s und 2 kürzere")
    assert said["es"].endswith("curvas: de 3,2 a 4,0 s, 7,1 s y 2 más cortos")
    assert (
        words_in("de").said("nothing that any program of ours says, 1.5")
        == "nothing that any program of ours says, 1.5"
    )


def test_each_text_is_used_and_each_one_used_is_there():
    used = set(re.findall(r"(?:words|ENGLISH)\([\"']([a-z-]+)[\"']", SOURCE)) | {f"map-{name}" for name in NAMES}
    used |= set(re.findall(r'"((?:caution|since)-[a-z-]+|percent-of[a-z-]*)"', SOURCE))
    assert set(ENGLISH.texts) <= used
    assert {name for name in used if not name.startswith("since")} <= set(ENGLISH.texts)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_font_has_every_letter_of_it(language):
    words, font = words_in(language), paper_font(20)
    letters = set("".join((*words.texts.values(), *words.sentences.values(), "äöüÄÖÜßáéíóúñ±µ°"))) - {" "}
    missing = bytes(font.getmask("\uffff"))
    assert not {one for one in letters if bytes(font.getmask(one)) == missing}


def test_the_plain_font_would_not_do():
    """Why one is chosen: Pillow's own draws the same box for letters that it has not."""
    plain = ImageFont.load_default(size=20)
    assert np.array_equal(np.asarray(plain.getmask("ä")), np.asarray(plain.getmask("ñ")))


def test_numbers_and_lines():
    assert words_in("de").number(1234.5, ".1f") == "1234,5"
    assert ENGLISH.number(0.5, "g") == "0.5"
    font = paper_font(16)
    lines = wrapped(words_in("de").texts["caution-code"], font, 300)
    assert " ".join(lines) == words_in("de").texts["caution-code"]
    assert max(font.getlength(line) for line in lines) <= 300
