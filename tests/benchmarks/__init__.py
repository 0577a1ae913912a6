"""Benchmarks: ratios against a floor and a peer, measured in the same run."""
