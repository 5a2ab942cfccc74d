"""Colour mock-ups of electric instruments, computed from photographs of the boards."""

__version__ = "0.1.0"
