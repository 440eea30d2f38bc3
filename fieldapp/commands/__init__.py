"""One module a command of the tablet's side; found by entry points."""
