"""Everything at once: files of all resources of one moment, written beside the service."""

from brachium.bulk.bulk import Bulk

__all__ = ["Bulk"]
