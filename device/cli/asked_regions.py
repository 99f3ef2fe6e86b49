"""Which reference and regions a command is asked to measure: given, marked while recording, or marked in the recording's review."""

from collections.abc import Callable
from typing import Any

import click

from device.review_marks import ReviewMarks
from shared.errors import Refused
from shared.recording import Recording


def region_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command ``reference``, ``regions`` and ``review``."""
    for option in (
        click.option("--review", is_flag=True, help="Take reference and regions from the recording's review."),
        click.option("--region", "regions", metavar="R", multiple=True, help="Region to measure; may be repeated."),
        click.option(
            "--reference",
            metavar="R",
            help="Healthy tissue that counts as 100 %. Default: the one marked while recording.",
        ),
    ):
        command = option(command)
    return command


def asked_regions(recording: Recording, reference: str | None, regions: tuple[str, ...], review: bool) -> ReviewMarks:
    """What is to be measured. Raises Refused where review and command line both say it, or the review's marks are damaged."""
    if not review:
        return ReviewMarks(reference, regions)
    if reference is not None or regions:
        raise Refused("--review brings its own reference and regions", remedy="leave out --reference and --region")
    return ReviewMarks.of(recording)
