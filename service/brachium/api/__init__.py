"""HTTP only: what arrives is bytes, what leaves is bytes, and nothing here knows medicine."""
