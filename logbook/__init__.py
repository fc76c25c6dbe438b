"""Lens Bench Logbook: a shop operations logbook for lenticular print workshops."""

__version__ = "0.1.0"
