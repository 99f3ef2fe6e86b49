"""What the page says, in every language it speaks: the catalogues of all places as one text."""

from pathlib import Path

FOLDER = Path(__file__).parent / "static" / "words"


def languages() -> list[str]:
    """Languages that have a folder, by their codes (ISO 639-1)."""
    return sorted(folder.name for folder in FOLDER.iterdir() if folder.is_dir())


def catalogue(language: str) -> str:
    """All messages of a language of ``languages()``, in Fluent's syntax."""
    return "\n".join(path.read_text(encoding="utf-8") for path in sorted((FOLDER / language).glob("*.ftl")))
