"""The command line: parse, call, print. Nothing is computed here."""

from motorfit.cli.app import main

__all__ = ["main"]
