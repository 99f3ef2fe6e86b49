"""What stands on pictures and papers that leave the device: its words in the reader's language, and the letters they are set in."""
