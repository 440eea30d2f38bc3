"""The tablet's notebook: a journal on disk, the records it folds into, and TinyDB's way of asking."""
