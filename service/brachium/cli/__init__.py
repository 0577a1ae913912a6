"""The command line of brachium."""

from brachium.cli.parser import main

__all__ = ["main"]
