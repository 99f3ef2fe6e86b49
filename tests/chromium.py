"""Debian's browser, as every test of the page starts it: without its own traffic."""

PATH = "/usr/bin/chromium-headless-shell"
"""The same browser, of the same package source, without its own window: a new tablet costs a processor half as much."""
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
ONE_FOR_ALL = "--renderer-process-limit=1"
"""All pages in one process: to end it and begin another between two tests took a sixth of the processor. Not for timing them."""
