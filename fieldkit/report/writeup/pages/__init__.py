"""The pages of a write-up: what is shown on them, in three depths."""
