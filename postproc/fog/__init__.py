"""What the fog does and how well it is seen."""
