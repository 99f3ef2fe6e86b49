"""Light on its way: limits, dye, filters, parts, and what dimming makes of it."""
