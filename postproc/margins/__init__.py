"""How far each knob may move before touchdown changes, alone and together."""
