"""Tablets that are kept from one test to the next: a new window, and all of the page fetched anew, cost more than most tests do."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Error, Page

LANDSCAPE, PORTRAIT = (1180, 820), (820, 1180)


def new_tablet(chrome: Browser, size: tuple[int, int] = LANDSCAPE, **how: Any) -> BrowserContext:
    """A tablet that nobody has paired. It installs nothing and asks for stillness unless told otherwise.

    Both cost a processor as much as all the rest: the tests' browser draws on it, sixty times a second while something pulses.
    """
    asked = {"service_workers": "block", "reduced_motion": "reduce", "has_touch": True, **how}
    return chrome.new_context(viewport={"width": size[0], "height": size[1]}, **asked)


def leave(page: Page) -> None:
    """Leave a page so that it says goodbye: one that vanishes is thought to be here for a while, and keeps control."""
    if not page.is_closed():
        page.mouse.up()
        page.goto("about:blank")


@dataclass
class Tablet:
    """One that stays, and its page, which shows nothing between two tests. What it fetched it need not fetch again."""

    context: BrowserContext
    page: Page

    @contextmanager
    def used(self, size: tuple[int, int], complain: Callable[[Error], None]) -> Iterator[Page]:
        """Its page in that size and as it was new, but for its cookies."""
        if self.page.is_closed():
            self.page = self.context.new_page()
        page = self.page
        page.set_viewport_size({"width": size[0], "height": size[1]})
        page.emulate_media(reduced_motion="reduce")
        page.on("pageerror", complain)
        yield page
        if page.is_closed():
            return
        if page.url.startswith("http"):
            page.evaluate("() => localStorage.clear()")
        leave(page)
        page.remove_listener("pageerror", complain)


class Tablets:
    """All that stay. One of which a test failed is put away: nobody knows what is still pressed on it."""

    def __init__(self, chrome: Browser) -> None:
        self._chrome = chrome
        self._free: list[Tablet] = []
        self.paired: Tablet | None = None

    def take(self) -> Tablet:
        """One that nobody has paired."""
        if self._free:
            tablet = self._free.pop()
            tablet.context.clear_cookies()
            return tablet
        context = new_tablet(self._chrome)
        return Tablet(context, context.new_page())

    def give_back(self, tablet: Tablet, *, sound: bool) -> None:
        if sound:
            self._free.append(tablet)
        else:
            tablet.context.close()
