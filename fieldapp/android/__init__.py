"""What the Android package is made from. See the README for the steps."""
