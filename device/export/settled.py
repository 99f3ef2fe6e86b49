"""Whether all that was written to a drive has reached it, so that it can be pulled out. It is not unmounted: that takes root."""

import subprocess
from pathlib import Path


def settle(folder: Path) -> bool:
    """Wait until the file system that ``folder`` lies on has written all it holds back (syncfs(2)); whether it says that it has."""
    try:
        return subprocess.run(["/bin/sync", "--file-system", folder], check=False, capture_output=True).returncode == 0
    except OSError:
        return False
