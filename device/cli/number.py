"""Numbers as people type them: within bounds, and never "nan" or "inf"."""

import math
from typing import Any

import click


class Number(click.FloatRange):
    """A range that holds ordinary numbers only: comparing with bounds lets "nan" through."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number; click says which option it was where there is none."""
        found = float(super().convert(value, param, ctx))
        if not math.isfinite(found):
            self.fail(f"{value} is not an ordinary number", param, ctx)
        return found
