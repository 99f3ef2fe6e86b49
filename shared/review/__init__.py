"""A recording looked at again: one moment of it as a picture and as values, by plain arithmetic that compiles nothing."""
