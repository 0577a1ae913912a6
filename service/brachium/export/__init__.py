"""Stored exam versions out: bundles, our own JSON, codings, the account, and explanations."""

from brachium.export.export import Export, Framer, Wanted

__all__ = ["Export", "Framer", "Wanted"]
