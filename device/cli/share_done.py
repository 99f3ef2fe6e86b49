"""How far long work is: for people at a terminal, or as JSON for a program that follows it."""

import json
import sys

import click


class ShareDone:
    """Says on standard error how far it is, at every percent: {"done": 0.42} as JSON, 42 % where somebody is looking."""

    def __init__(self, as_json: bool) -> None:
        self._as_json = as_json
        self._percent = -1
        self._people = not as_json and sys.stderr.isatty()

    def __call__(self, done: float) -> None:
        """``done`` from 0 to 1."""
        percent = int(100 * done)
        if percent == self._percent:
            return
        self._percent = percent
        if self._as_json:
            click.echo(json.dumps({"done": round(done, 4)}), err=True)
        elif self._people:
            click.echo(f"\r{percent:3} %", err=True, nl=percent >= 100)
