"""The exam that a clinic app posts, and the rules it has to meet."""
