"""Two recordings beside each other: the same tissue in both, what was left of the first dye, what differs and how surely."""
