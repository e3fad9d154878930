"""Draw results. Each figure takes a result and returns a matplotlib Figure; nothing is computed here."""

from fieldkit.report.figures.style import describe, drawn_numbers, look, new_axes, say, show

__all__ = ["describe", "drawn_numbers", "look", "new_axes", "say", "show"]
