"""The assemblage computed: specimens out of the ledger, tables and charts of them.

For: `gathering` (what counts), and a module a topic that answers with `fieldapp.domain.assemblage.results`; polars,
scipy and matplotlib do the work, and what a figure means is fieldapp.domain.assemblage's. Not for: pages
(server.review), commands, or how a result looks on paper.
"""
