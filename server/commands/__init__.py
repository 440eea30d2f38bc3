"""One module a command of the cabin's side; found by entry points."""
