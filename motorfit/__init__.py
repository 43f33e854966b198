"""Fits physical brushless-motor models to raw bench curves, with honest uncertainty."""

__version__ = "0.1.0"
