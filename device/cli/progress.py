"""How far a walk is: a line for people, or one JSON object a line on standard error for whoever follows it as a child process."""

import json
from collections.abc import Callable

import click

from shared.bounded import plain


def saying(as_json: bool) -> Callable[[str], None]:
    """What takes the lines of a walk."""
    return (lambda words: tell(say=words)) if as_json else click.echo


def tell(**what: object) -> None:
    """One JSON object on standard error."""
    click.echo(json.dumps(plain(what), allow_nan=False), err=True)
