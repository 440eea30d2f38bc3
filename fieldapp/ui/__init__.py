"""The touch app: the only package that imports kivy."""
