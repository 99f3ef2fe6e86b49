"""Languages in which pictures and papers can be kept, by their codes (ISO 639-1). Standard library only."""

from typing import Literal

Language = Literal["en", "de", "es"]
