"""Pages as one PDF file, whole or not at all."""

import io
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shared.errors import Refused
from shared.recording.durable import replace_file

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def write_pdf(path: Path, about: dict[str, Any], pages: Iterable["Figure"]) -> None:
    """Write ``pages`` with ``about`` as metadata. Raises Refused where that cannot be: an older file stays then."""
    from matplotlib.backends.backend_pdf import PdfPages

    written = io.BytesIO()
    with PdfPages(written, metadata=about) as pdf:
        for page in pages:
            pdf.savefig(page)
    try:
        replace_file(path, written.getvalue())
    except OSError as error:
        path.with_name(f".{path.name}.new").unlink(missing_ok=True)
        raise Refused(f"{path}: cannot be written ({error.strerror})", remedy="choose another place") from None
