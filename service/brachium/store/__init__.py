"""Exam versions kept for ever; rows without medicine in them. The only layer that knows SQL."""
