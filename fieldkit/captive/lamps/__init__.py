"""Lamps: what they give at a place, fitted from meter readings, matched with sunlight, and arranged."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
