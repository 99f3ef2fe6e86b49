"""A recording on disk: an open store that stays readable whenever the writer is killed."""
