"""The draft of an assessment report: what was studied, how, the tables and charts, what was left out, the sources.

For: `contents` decides what is in it, `paper` makes a PDF of it, `document` an editable one (docx), `bundle` everything
as files. A specialist reads, alters and signs it; it is a draft and says so. Not for: figures (the topics).
"""
