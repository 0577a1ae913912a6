"""Stored rows to bytes: bundles, tables, digests. Knows rows and FHIR framing, not medicine."""
