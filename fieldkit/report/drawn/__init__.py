"""What a figure shows, read back from the drawing itself: its numbers, and the words that stand for it."""
