"""What is written down: changes, their fold into records, schemas, signatures and seals.

Shared by tablet and server.
"""
