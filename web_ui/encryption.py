"""TLS for the page and the pictures alike: certificate, context, and keeping both up to date."""

import datetime
from collections.abc import Sequence
from pathlib import Path

from web_ui.certificate import PageCertificate, Subject
from web_ui.own_names import is_address, own_addresses


class Encryption:
    """Certificate in ``folder`` for ``names`` and the addresses that this machine has. Raises Refused as PageCertificate does."""

    def __init__(self, folder: Path, names: Sequence[str], host: str) -> None:
        self._names = names
        self._host = host
        self.certificate = PageCertificate(folder, self._subject(), _now())
        self.context = self.certificate.context()

    def keep_up(self) -> bool:
        """Renew what is due, or names an address that is no more; connections from now on get it. Whether it was renewed."""
        renewed = self.certificate.renew(self._subject(), _now())
        if renewed:
            self.certificate.load_into(self.context)
        return renewed

    def _subject(self) -> Subject:
        given = (self._host,) if is_address(self._host) else ()
        return Subject.of(self._names, [one for one in (*own_addresses(), *given) if one not in ("0.0.0.0", "::")])  # noqa: S104


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
