"""The mapping tables: read once into frozen rows, checked, and never changed."""
