"""Words of legends, captions and cautions in the language of whoever keeps the picture; light enough for the imager."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import get_args

from shared.protocol.languages import Language

LANGUAGES: tuple[Language, ...] = get_args(Language)

_HOLE = re.compile(r"\\\{(\w+)\\\}")
"""Where a value stands in a sentence, written as a pattern."""
_POINT = re.compile(r"(?<=\d)\.(?=\d)")


@dataclass(frozen=True, eq=False)
class Words:
    """One language's catalogue: ``texts`` by name, and ``sentences`` of the device by what it writes in English. A ``{value}`` in
    a sentence is a number; one whose name begins with ``said`` is words of the device.
    """

    language: Language
    texts: Mapping[str, str]
    sentences: Mapping[str, str]

    def __call__(self, name: str, /, **values: object) -> str:
        """The text of that name with its values; raises KeyError for one that no catalogue has."""
        return self.texts[name].format(**values)

    def said(self, line: str) -> str:
        """A sentence of the device; one that no catalogue has stays in English."""
        known = self.sentences.get(line)
        if known is not None:
            return known
        for pattern, sentence in self._with_values:
            found = pattern.fullmatch(line)
            if found is not None:
                return sentence.format(**{name: self._value(value) for name, value in found.groupdict().items()})
        return line

    def number(self, value: float, form: str) -> str:
        """A number in that form of ``format``, with the decimal sign of the language (ISO 80000-1 allows comma and dot)."""
        return self._decimals(format(value, form))

    @cached_property
    def _with_values(self) -> list[tuple[re.Pattern[str], str]]:
        """Sentences in which values stand, by the pattern of what the device writes: those of most words first."""
        kept = sorted((key for key in self.sentences if "{" in key), key=len, reverse=True)
        return [(re.compile(_HOLE.sub(_group, re.escape(key))), self.sentences[key]) for key in kept]

    def _value(self, text: str) -> str:
        """Words of the device, or a row of them, as the language says them; of others, and of numbers, the decimals."""
        said = self.said(text)
        if said == text and ", " in text:
            return ", ".join(map(self._value, text.split(", ")))
        return said if said != text else self._decimals(text)

    def _decimals(self, text: str) -> str:
        return text if self.language == "en" else _POINT.sub(",", text)


def _group(hole: re.Match[str]) -> str:
    name = hole[1]
    return f"(?P<{name}>.+)" if name.startswith("said") else rf"(?P<{name}>[+-]?\d+(?:\.\d+)?)"


@cache
def words_in(language: Language) -> Words:
    """The catalogue of a language, read once."""
    found = tomllib.loads((Path(__file__).parent / f"{language}.toml").read_text(encoding="utf-8"))
    return Words(language, found["texts"], found["said"])


ENGLISH = words_in("en")
