"""The one kind of error a person is meant to read."""


class Refused(Exception):
    """Something asked for cannot be done; says what, with which value, and what to do instead.

    Shown to people as exactly one line, by the command line (exit 2) and by the page (HTTP 400).
    """

    def __init__(self, what: str, value: object = None, remedy: str = "") -> None:
        self.what = what
        self.value = value
        self.remedy = remedy
        super().__init__(self.line)

    @property
    def line(self) -> str:
        """What, value and remedy on one line, whatever line breaks they came with."""
        text = self.what if self.value is None else f"{self.what}: {_shortened(self.value)}"
        if self.remedy:
            text = f"{text}; {self.remedy}"
        return " ".join(text.split())


def _shortened(value: object, longest: int = 200) -> str:
    text = value if isinstance(value, str) else repr(value)
    return text if len(text) <= longest else f"{text[:longest]}… ({len(text)} characters)"
