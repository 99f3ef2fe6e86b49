"""How far long work is."""

import sys

import click


class PercentDone:
    """Percent on standard error, where somebody is looking."""

    def __init__(self) -> None:
        self._shown = -1
        self._wanted = sys.stderr.isatty()

    def __call__(self, done: int, total: int) -> None:
        """Show how far it is, a whole percent at a time."""
        percent = 100 * done // total
        if self._wanted and percent != self._shown:
            self._shown = percent
            click.echo(f"\r{percent} %" + ("\n" if done == total else ""), nl=False, err=True)
