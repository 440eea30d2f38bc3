"""Context bone sheets as PDF, for tablet and cabin alike."""
