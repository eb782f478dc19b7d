"""Keeps, compares, finds and explains measured colours of hand-dyed yarn."""

__version__ = "0.1.0"
