"""The page's libraries are not kept with the project, so a checkout may lack them."""

import pytest

from shared.errors import Refused
from web_ui import installed_page


def test_without_its_libraries_the_page_is_not_served(tmp_path, monkeypatch):
    monkeypatch.setattr(installed_page, "LIBRARIES", tmp_path)
    with pytest.raises(Refused, match="run make libraries"):
        installed_page.InstalledPage("<html></html>")
