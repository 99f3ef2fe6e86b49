"""Where things lie on the printed sheets, millimetres from the middle of the sheet, x to the right, y down."""

Place = tuple[float, float]

PITCH_MM = 10.0
"""From dot to dot of the grid."""
DOT_MM = 3.0
EDGE_DEG = 5.0
"""Lean of the slanted edge (ISO 12233)."""
WELL_MM = 8.0
WELL_PITCH_MM = 20.0
WELLS = 8
"""In two rows of four."""


def dot_places_mm(width_mm: float, height_mm: float, most: int = 1000) -> tuple[Place, ...]:
    """Dots of a grid about the middle that fit a field, at most so many: a wide field gets the middle ones."""
    columns, rows = _half_count(width_mm), _half_count(height_mm)
    while (2 * columns + 1) * (2 * rows + 1) > most:
        columns, rows = (columns - 1, rows) if columns > rows else (columns, rows - 1)
    return tuple(
        (PITCH_MM * column, PITCH_MM * row) for row in range(-rows, rows + 1) for column in range(-columns, columns + 1)
    )


def _half_count(length_mm: float) -> int:
    return max(0, int((length_mm / 2 - DOT_MM) // PITCH_MM))


def well_places_mm() -> tuple[Place, ...]:
    """Middles of the wells: the upper row from left to right, then the lower."""
    half = WELLS // 2
    xs = [WELL_PITCH_MM * (number - (half - 1) / 2) for number in range(half)]
    return tuple((x, y) for y in (-WELL_PITCH_MM / 2, WELL_PITCH_MM / 2) for x in xs)
