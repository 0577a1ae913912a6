"""Flat tables of resources: ViewDefinitions of SQL on FHIR v2, and the FHIRPath that they use.

A small evaluator of our own. A general FHIRPath library takes some twenty times as long, measured
over our views, which for a million Observations is the difference between three minutes and an
hour; and its numbers are binary floats, while ours keep the digits they were written with. What the
views that come with the service do not need is refused when a view is read, never guessed.
"""
