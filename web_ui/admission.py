"""What the picture stream asks of whoever knows the browsers."""

from typing import Protocol


class Admission(Protocol):
    """Who may look, by the session cookie, and who hears that they do."""

    def paired(self, cookie: str | None) -> bool:
        """Whether that browser may look."""

    def opened(self, cookie: str | None) -> None:
        """A page of that browser takes pictures."""

    def closed(self, cookie: str | None, said_goodbye: bool) -> None:
        """It does no longer."""
