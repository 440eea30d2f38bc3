"""The tablet's notebook: TinyDB over an append-only, fsynced journal."""
