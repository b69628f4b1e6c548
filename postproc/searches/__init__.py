"""The variant of least objective within its limits."""
