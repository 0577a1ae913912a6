"""Checked, assessed exams to coded FHIR R4 (4.0.1) and back. Pure: no I/O, clock or randomness."""
