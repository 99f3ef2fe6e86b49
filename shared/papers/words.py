"""Words of legends, captions and cautions in the language of whoever keeps the picture; light enough for the imager."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import get_args

from shared.protocol.languages import Language

LANGUAGES: tuple[Language, ...] = get_args(Language)


@dataclass(frozen=True, eq=False)
class Words:
    """One language's catalogue: ``texts`` by name, and ``sentences`` of the device by what it writes in English."""

    language: Language
    texts: Mapping[str, str]
    sentences: Mapping[str, str]

    def __call__(self, name: str, /, **values: object) -> str:
        """The text of that name with its values; raises KeyError for one that no catalogue has."""
        return self.texts[name].format(**values)

    def said(self, line: str) -> str:
        """A fixed sentence of the device; one that no catalogue has stays in English."""
        return self.sentences.get(line, line)

    def number(self, value: float, form: str) -> str:
        """A number in that form of ``format``, with the decimal sign of the language (ISO 80000-1 allows comma and dot)."""
        text = format(value, form)
        return text if self.language == "en" else text.replace(".", ",")


@cache
def words_in(language: Language) -> Words:
    """The catalogue of a language, read once."""
    found = tomllib.loads((Path(__file__).parent / f"{language}.toml").read_text(encoding="utf-8"))
    return Words(language, found["texts"], found["said"])


ENGLISH = words_in("en")
