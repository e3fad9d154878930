"""Results in plain words: keys and numbers, told in the language that is asked for."""
