"""Widgets that every screen is made of. They draw and report taps; they decide nothing."""
