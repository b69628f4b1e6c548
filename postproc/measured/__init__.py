"""Measured chambers: points beside computed ones, and constants fitted to them."""
