"""What we call right: StructureDefinitions of our resources, and the judgement of any resource.

Structural facts of FHIR R4 come from ``r4.json`` (package hl7.fhir.r4.core 4.0.1, CC0), which a
script of the tests writes; everything in words is ours.
"""
