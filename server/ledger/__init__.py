"""Accepts changes, folds them into records, finds disagreements."""
