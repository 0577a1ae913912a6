"""Stored exam versions out: bundles, our own JSON, codings, the account, and explanations."""

from brachium.export.export import Export, Framer, Wanted, sided_codes

__all__ = ["Export", "Framer", "Wanted", "sided_codes"]
