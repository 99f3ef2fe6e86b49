"""How dye flows in: curves against time, and what is read from them."""
