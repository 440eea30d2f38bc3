"""Other people's data read into the ledger: a table of theirs, a map that says what its columns and words mean.

    maps      what a map is, how it is written down, what is wrong with one
    tables    a table as text: its letters, headings and rows; what is no table
    along     ends and stretches of a bone, as many tables name them, in our centres and portions
    mapping   a row by a map: the values of one docket, and what the map did not tell
    drafting  a first draft of a map, guessed from a table
    placing   the contexts and bags that rows lie in
    loading   rows into the ledger, batch by batch, each once
    report    what was not understood, as a table

Nothing of a row is ever dropped: it stays whole in its docket, under `imported`. All but placing and loading know no
ledger. Not for: what tablets bring (server.ledger.intake), or exports.
"""
