"""Every language has every word, with the same values in it, and letters for all of it."""

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

SOURCE = "".join(
    file.read_text(encoding="utf-8") for package in (shared, device) for file in Path(package.__path__[0]).rglob("*.py")
)


def values(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


@pytest.mark.parametrize("language", LANGUAGES)
def test_each_language_says_the_same(language):
    words = words_in(language)
    assert set(words.texts) == set(ENGLISH.texts)
    assert set(words.sentences) == set(ENGLISH.sentences)
    for name, text in ENGLISH.texts.items():
        assert values(words.texts[name]) == values(text), name
    if language != "en":
        assert not {name for name in words.sentences if words.sentences[name] == name}


def test_english_is_what_the_device_writes():
    assert all(line == said for line, said in ENGLISH.sentences.items())
    assert set(CLASS_WORDS[1:4]) <= set(ENGLISH.sentences)


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
