"""The invented site of the demonstration; no real place, person or find."""
