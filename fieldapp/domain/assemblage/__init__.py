"""The assemblage: what many fragments together say. Counts, ages, sizes and surface, each by a published definition.

For: plain, slow, obvious definitions over plain values (`specimens`), which part of a site is asked for (`selection`)
and what an answer looks like (`results`). Not for: speed (server.analysis computes the same over columns, and tests
hold the two together), pages, charts, or which records there are.
"""
