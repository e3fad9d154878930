"""What may stand behind a choice besides the choice: chance, repetition, design, hidden things, other animals."""
