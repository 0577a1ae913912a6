"""Independent judges of what the service puts out, each with a source of its own."""
