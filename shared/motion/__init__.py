"""Where the hand has moved the picture to, and how to look at the same tissue all the same."""
