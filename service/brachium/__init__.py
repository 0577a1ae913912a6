"""Structured arm examination findings, checked, judged, coded and kept."""
