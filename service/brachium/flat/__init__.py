"""Flat tables of resources: ViewDefinitions of SQL on FHIR v2, and the FHIRPath that they use.

A small evaluator of our own. A general FHIRPath library reads a grammar and a model of FHIR for
every step of a path and takes some hundred times as long, which for a million Observations is the
difference between minutes and days; and its numbers are binary floats, while ours keep the digits
they were written with. What is not needed by the views that come with the service is refused when
a view is read, never guessed.
"""
