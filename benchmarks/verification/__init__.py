"""The package checked against what others computed, measured or derived: `swirlwright verify`."""
