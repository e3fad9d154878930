"""Flesch–Kincaid grade of a text, by a small count of our own."""

import re


def syllables(word):
    """Groups of vowels, "ia" and "io" as two but after t, s, c; a silent final e taken off; at least one."""
    word = re.sub(r"[^a-z]", "", word.lower())
    groups = len(re.findall(r"[aeiouy]+", word)) + len(re.findall(r"(?<![tsc])i[ao]", word))
    if word.endswith("e") and not word.endswith(("le", "ee", "ye")) and groups > 1:
        groups -= 1
    return max(groups, 1)


def grade(text):
    """Kincaid, Fishburne, Rogers & Chissom (1975), Research Branch Report 8-75, Naval Technical Training Command:
    0.39 words per sentence + 11.8 syllables per word − 15.59. Numbers and units are no words."""
    text = re.sub(r"(\d)[.,](\d)", r"\1\2", text)
    sentences = [s for s in re.split(r"[.!?]+(?:\s|$)|\n\s*\n|\n\s*(?:[-*]|\d+\.) ", text) if re.search("[a-z]{2}", s)]
    words = [w for s in sentences for w in re.findall(r"[A-Za-z][A-Za-z’'-]+|\b[aAI]\b", s)]
    return 0.39 * len(words) / len(sentences) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59
